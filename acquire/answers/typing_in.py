"""`steadyohm result`: a result typed in for a unit while no bench is at work with its journal."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from acquire.answers.importing import append_at_rest
from acquire.answers.options import AsJsonLines, say, say_json
from acquire.bench.assembly import circumstances
from acquire.bench.duty_setup import habit
from acquire.clock import RealClock
from acquire.errors import InputImpossible
from acquire.files.settings import Bench, load_bench
from acquire.journal.history import JournalReader
from acquire.journal.plain import to_plain
from acquire.journal.question import OF_A_STAY, Question
from acquire.records import Circumstances, Recorded, TypedResult
from acquire.unit_result import Stay, revised, stays_of
from acquire.verdict.typed import typed_result
from acquire.verdict.typed_wanted import guidance
from acquire.words.beside import typed_answer
from acquire.words.outcomes import OUTCOME_WORDS
from drivers.models import load_model
from system.ending import run_loop


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
    stay = _on_record(bench, serial)
    started = stay.started
    assert started is not None  # noqa: S101  (chosen as one that began)
    if started.sheet != place.sheet.name:
        raise InputImpossible(
            f"{serial} was measured as {started.sheet}, the bench file names {place.sheet.name}.",
            "Name the bench file with its sheet.",
        )
    new: list[TypedResult] = []
    for text in texts:
        others = [*stay.typed, *new]
        new.append(typed_result(text, started, place, clock.utc_s(), habit=habit(bench), others=others))
    last, typed = stay.last, [*stay.typed, *new]
    now = None if last is None else revised(last, typed, new[-1].utc_s)
    remedy = "While a bench is at work, type .result at the bench itself."
    records: list[Recorded] = [*new, *([] if now is None else [now])]
    run_loop(append_at_rest(Path(bench.journal.folder), bench.name, clock, records, remedy))
    return new


def _place(bench: Bench) -> Circumstances:
    """The bench as a record sees it. A meter past its calibration keeps nobody from typing."""
    return circumstances(bench, load_model(Path(bench.meter.model)))


def _on_record(bench: Bench, serial: str) -> Stay:
    """The unit's latest stay on this bench, with what was typed for it."""
    with JournalReader(Path(bench.journal.folder)) as journal:
        stays = stays_of(entry.record for entry in journal.find(Question(serial=serial, kinds=OF_A_STAY)))
    begun = [stay for stay in stays if stay.started is not None]
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
            help='Such as "insulation = 120 Mohm, 500 V, 21 °C"; left out: what is wanted, and how.'
        ),
    ] = None,
    *,
    serial: Annotated[str, typer.Option(help="Of the unit; it must have been on this bench.")] = "",
    as_json: AsJsonLines = False,
) -> None:
    """Type in results from elsewhere (insulation, inductance, surge, hipot) while no bench is at work."""
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
