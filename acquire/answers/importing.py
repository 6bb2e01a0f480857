"""`steadyohm import`: earlier paper records onto a journal, while no bench is at work with it."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from pathlib import Path

from acquire.bench.assembly import SOFTWARE
from acquire.clock import Clock, RealClock
from acquire.errors import FileInvalid, JournalUnusable
from acquire.journal.history import JournalReader
from acquire.journal.question import Question
from acquire.journal.store import Journal
from acquire.records import ImportedResult
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


def take(results: Sequence[ImportedResult], folder: Path, clock: Clock | None = None) -> None:
    """Put values on the record, in the order of the file.

    Raises:
        JournalUnusable: the journal cannot be written, or a bench at work has it.
    """
    run_loop(_append(results, folder, clock or RealClock()))


async def _append(results: Sequence[ImportedResult], folder: Path, clock: Clock) -> None:
    try:
        journal = await asyncio.to_thread(lambda: Journal.open(folder, bench=results[0].bench, clock=clock))
    except JournalUnusable as error:
        remedy = "Stop the bench that works with it, then import again."
        raise JournalUnusable(error.what, f"{error.hint} {remedy}".strip()) from error
    try:
        for first in range(0, len(results), AT_ONCE):
            await journal.append([(result, None) for result in results[first : first + AT_ONCE]])
    finally:
        await journal.close()
