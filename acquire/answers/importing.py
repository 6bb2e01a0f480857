"""`steadyohm import` and `result`: earlier papers and typed results, while no bench uses the journal."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from acquire.answers.options import AsJsonLines, say, say_json
from acquire.bench.assembly import SOFTWARE, circumstances
from acquire.bench.duty_setup import habit
from acquire.clock import Clock, RealClock
from acquire.errors import FileInvalid, InputImpossible, JournalUnusable
from acquire.files.settings import Bench, load_bench
from acquire.journal.history import JournalReader
from acquire.journal.plain import to_plain
from acquire.journal.query import OF_A_VISIT, Query
from acquire.journal.store import Journal
from acquire.records import Circumstances, ImportedResult, Recorded, TypedResult
from acquire.reports.imported import ImportOrigin, PaperFile, already
from acquire.sheets import load_sheet
from acquire.unit_result import VisitResult, revised, visit_results
from acquire.verdict.typed import typed_result
from acquire.verdict.typed_wanted import guidance
from acquire.words.beside import typed_answer
from acquire.words.verdicts import OUTCOME_WORDS
from drivers.models import load_model
from system.ending import run_loop

AT_ONCE = 500
"""Values that share one commit."""


def read_papers(
    file: Path, folder: Path, sheet_file: Path, clock: Clock
) -> tuple[list[ImportedResult], list[str]]:
    """Read and check a file of paper records.

    Args:
        file: CSV with the columns of `PAPER_COLUMNS`.
        folder: of the journal that shall take them; it must be there.
        sheet_file: of the unit type.
        clock: for the time of import.

    Returns:
        The values, and a sentence for each that is far from what the sheet expects.

    Raises:
        FileInvalid: the file, or the sheet, has faults; all of them, each with its line.
        InputImpossible: the file cannot be read.
        JournalUnusable: there is no journal, or it cannot be read.
    """
    sheet = load_sheet(sheet_file)
    with JournalReader(folder) as journal:
        names = ["serial", "measured_utc_s", "step"]
        found = journal.values(Query(kinds=("imported_result",)), names)
        known = {(str(serial), float(at_s), str(step)) for serial, at_s, step in found}
        bench = journal.bench
    papers = PaperFile(file, sheet, ImportOrigin(bench, SOFTWARE, clock.utc_s()))
    results = papers.read()
    if faults := list(already(results, known)):
        raise FileInvalid(faults[:100])
    return results, papers.doubts


async def append_at_rest(
    folder: Path, bench: str, clock: Clock, records: Sequence[Recorded], remedy: str
) -> None:
    """Put records on a journal that no bench works with.

    Args:
        folder: of the journal.
        bench: that it belongs to.
        clock: for the time of writing.
        records: in order; so many as `AT_ONCE` share a commit.
        remedy: what to do where a bench is at work.

    Raises:
        JournalUnusable: the journal cannot be written, or a bench at work has it.
    """
    try:
        journal = await asyncio.to_thread(lambda: Journal.open(folder, bench=bench, clock=clock))
    except JournalUnusable as error:
        raise JournalUnusable(error.what, f"{error.hint} {remedy}".strip()) from error
    try:
        for first in range(0, len(records), AT_ONCE):
            await journal.append([(record, None) for record in records[first : first + AT_ONCE]])
    finally:
        await journal.close()


def import_papers(
    file: Annotated[Path, typer.Argument(help="CSV file of earlier paper records.")],
    journal: Annotated[
        Path, typer.Argument(help="Folder of the bench's journal; the bench must not be running.")
    ],
    *,
    sheet: Annotated[Path, typer.Option(help="Sheet of the unit type.")],
    dry: Annotated[
        bool, typer.Option("--dry", help="Only check the file; nothing goes on the record.")
    ] = False,
) -> None:
    """Bring earlier paper records onto the journal, marked as imported; each row is checked."""
    clock = RealClock()
    results, doubts = read_papers(file, journal, sheet, clock)
    for doubt in doubts:
        typer.echo(doubt, err=True)
    units = len({result.serial for result in results})
    if not dry:
        remedy = "Stop the bench that uses it, then import again."
        run_loop(append_at_rest(journal, results[0].bench, clock, results, remedy))
    done = "in order" if dry else "imported"
    typer.echo(f"{file}: {done}: values {len(results)}, units {units}")


def wanted_lines(bench_file: Path) -> tuple[str, ...]:
    """What can be typed in for the bench's sheet, and what to mind.

    Raises:
        FileInvalid, ModelInvalid: a file cannot be used.
    """
    place = _place(load_bench(bench_file))
    return guidance(place.sheet, place.purpose)


def type_in(bench_file: Path, serial: str, texts: list[str]) -> list[TypedResult]:
    """Judge results and put them on the record, all of them or none, with what that makes of the unit.

    Args:
        bench_file: names sheet, purpose and journal.
        serial: of the unit; it must have been on this bench.
        texts: as behind .result at the bench.

    Raises:
        FileInvalid, ModelInvalid: a file cannot be used.
        JournalUnusable: the journal cannot be opened, or a bench at work has it.
        InputImpossible: a text cannot be understood, or the unit was never on this bench.
    """
    bench = load_bench(bench_file)
    clock, place = RealClock(), _place(bench)
    visit = _on_record(bench, serial)
    started = visit.started
    assert started is not None  # noqa: S101  (chosen as one that began)
    if started.sheet != place.sheet.name:
        raise InputImpossible(
            f"{serial} was measured as {started.sheet}, the bench file names {place.sheet.name}.",
            "Name the bench file with its sheet.",
        )
    new: list[TypedResult] = []
    for text in texts:
        others = [*visit.typed, *new]
        new.append(typed_result(text, started, place, clock.utc_s(), habit=habit(bench), others=others))
    last, typed = visit.last, [*visit.typed, *new]
    now = None if last is None else revised(last, typed, new[-1].utc_s)
    remedy = "While a bench is running, type .result at the bench itself."
    records: list[Recorded] = [*new, *([] if now is None else [now])]
    run_loop(append_at_rest(Path(bench.journal.folder), bench.name, clock, records, remedy))
    return new


def _place(bench: Bench) -> Circumstances:
    """The bench as a record sees it. A meter past its calibration keeps nobody from typing."""
    return circumstances(bench, load_model(Path(bench.meter.model)))


def _on_record(bench: Bench, serial: str) -> VisitResult:
    """The unit's latest visit on this bench, with what was typed for it."""
    with JournalReader(Path(bench.journal.folder)) as journal:
        visits = visit_results(entry.record for entry in journal.find(Query(serial=serial, kinds=OF_A_VISIT)))
    begun = [visit for visit in visits if visit.started is not None]
    if not begun:
        raise InputImpossible(
            f"{serial} was never on bench {bench.name}.", "Check the serial: steadyohm history lists them."
        )
    return begun[-1]


def result(
    bench: Annotated[Path, typer.Argument(help="Bench file: names sheet, purpose and journal.")],
    results: Annotated[
        list[str] | None,
        typer.Argument(
            help='Such as "insulation = 120 Mohm, 500 V, 21 °C"; default: what is wanted, and how.'
        ),
    ] = None,
    *,
    serial: Annotated[str, typer.Option(help="Of the unit; it must have been on this bench.")] = "",
    as_json: AsJsonLines = False,
) -> None:
    """Type in results from elsewhere (insulation, inductance, surge, hipot) while no bench is running."""
    if not results:
        say(wanted_lines(bench))
        return
    if not serial:
        raise InputImpossible("Whose results are these?", "Give --serial.")
    for record in type_in(bench, serial, results):
        if as_json:
            say_json(to_plain(record))
        else:
            word = OUTCOME_WORDS[record.outcome] if record.outcome else "recorded"
            typer.echo(f"{record.serial}: {record.name}: {word}: {typed_answer(record)}".removesuffix(": "))
