"""`steadyohm import`: earlier paper records onto a journal, while no bench is at work with it."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from acquire.bench.assembly import SOFTWARE
from acquire.clock import Clock, RealClock
from acquire.errors import FileInvalid, JournalUnusable
from acquire.journal.history import JournalReader
from acquire.journal.question import Question
from acquire.journal.store import Journal
from acquire.records import ImportedResult, Recorded
from acquire.reports.imported import Origin, PaperFile, already
from acquire.sheets import load_sheet
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
        found = journal.values(Question(kinds=("imported_result",)), names)
        known = {(str(serial), float(at_s), str(step)) for serial, at_s, step in found}
        bench = journal.bench
    papers = PaperFile(file, sheet, Origin(bench, SOFTWARE, clock.utc_s()))
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
        Path, typer.Argument(help="Folder of the bench's journal; the bench must not be at work.")
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
        remedy = "Stop the bench that works with it, then import again."
        run_loop(append_at_rest(journal, results[0].bench, clock, results, remedy))
    done = "in order" if dry else "imported"
    typer.echo(f"{file}: {done}: values {len(results)}, units {units}")
