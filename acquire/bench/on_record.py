"""What of the heart's events goes on the record, and what the record tells the heart when it starts again.

Not for the record itself (journal) nor for what the heart makes of it (pipeline).
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from acquire.journal.history import JournalReader
from acquire.journal.question import Question
from acquire.records import (
    Batch,
    CheckStandard,
    Event,
    Evidence,
    Judged,
    LeadZero,
    Notice,
    Purpose,
    Recorded,
    TypedResult,
    UnitKnown,
    UnitResult,
    UnitStarted,
)
from acquire.records.codes import ASKED_FOR, Code

ANSWERS = ASKED_FOR | {Code.COMMAND_UNKNOWN}
"""Notices that only answer whoever typed: shown, and no part of the record."""


def recorded(events: Sequence[Event]) -> list[tuple[Recorded, Evidence | None]]:
    """What of these events the journal keeps, each verdict with its evidence."""
    kept: list[tuple[Recorded, Evidence | None]] = []
    for event in events:
        if isinstance(event, Judged):
            kept.append((event.verdict, event.evidence))
        elif isinstance(event, Notice) and event.code in ANSWERS:
            continue
        elif isinstance(
            event, UnitStarted | UnitResult | LeadZero | CheckStandard | TypedResult | Batch | Notice
        ):
            kept.append((event, None))
    return kept


def unit_known(journal: Path, serial: str, purpose: Purpose, running: str = "") -> UnitKnown:
    """Which batch a unit belongs to, how often it was measured for it, and how far the running one is.

    Args:
        journal: its file; archives beside it count as well.
        serial: of the unit.
        purpose: of the bench.
        running: name of the batch that takes units now, empty for none.

    Raises:
        JournalUnusable: it cannot be read.
    """
    kinds = ("unit_started",)
    with JournalReader(journal) as reader:
        starts = list(reader.values(Question(serial=serial, kinds=kinds), ("batch", "purpose")))
        rows = reader.values(Question(batch=running, kinds=kinds), ("serial",)) if running else iter(())
        others = {of for (of,) in rows} - {serial}
        results = [
            entry.record for entry in reader.find(Question(serial=serial, kinds=("unit_result",), limit=1))
        ]
    batches = [batch for batch, _ in starts if batch]
    latest = batches[-1] if batches else ""
    attempts = sum(batch == latest and of == purpose.value for batch, of in starts) if latest else 0
    warm = (r.utc_s for r in results if isinstance(r, UnitResult) and r.must_rest)
    held_utc_s = next(warm, None)
    return UnitKnown(serial, latest, attempts, len(others), held_utc_s)
