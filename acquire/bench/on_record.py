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
    Pair,
    Purpose,
    Recorded,
    TypedResult,
    UnitKnown,
    UnitResult,
    UnitStarted,
    Verdict,
)
from acquire.records.codes import ANOTHER_PAIR, ASKED_FOR, MEASURED_AGAIN, Code

ANSWERS = ASKED_FOR | {Code.COMMAND_UNKNOWN}
"""Notices that only answer whoever typed: shown, and no part of the record."""

OF_STEPS = ANOTHER_PAIR | {Code.STEP_SKIPPED}
"""Notices that a step cannot go on without, after a power cut."""


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


def standing(records: Sequence[Recorded]) -> list[Verdict | Notice]:
    """What an unfinished unit's record tells of its steps: verdicts, steps left out, values refused.

    Without what was told of a pair before it was asked for again.
    """
    told: list[Verdict | Notice] = []
    for record in records:
        if isinstance(record, Verdict) or (isinstance(record, Notice) and record.code in OF_STEPS):
            told.append(record)
        elif isinstance(record, Notice) and record.code in MEASURED_AGAIN and record.pair is not None:
            told = [each for each in told if _pair_of(each) != record.pair]
    return told


def _pair_of(record: Verdict | Notice) -> Pair | None:
    return record.pair if isinstance(record, Notice) else Pair(record.pin_a, record.pin_b)


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
    batches = [batch for batch, _ in starts if batch]
    latest = batches[-1] if batches else ""
    attempts = sum(batch == latest and of == purpose.value for batch, of in starts) if latest else 0
    return UnitKnown(serial, latest, attempts, len(others))
