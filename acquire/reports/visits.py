"""A unit's visits to the bench, taken from its record: each from "put on the bench" to its result.

A visit that a power cut interrupted goes on as the same one. Results typed in later belong to the visit
before them. Not for judging anything: what counted then counts here.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, Generic, TypeVar

from acquire.errors import InputImpossible, JournalUnusable
from acquire.journal.entry import Entry
from acquire.journal.plain import evidence_from_plain
from acquire.journal.question import Record
from acquire.records import Evidence, Notice, Purpose, Recorded, TypedResult, UnitResult, UnitStarted, Verdict
from acquire.steps.warm import WARM_CHECK
from acquire.unit_result import settled

KINDS = ("unit_started", "verdict", "typed_result", "notice", "unit_result")
"""What belongs to a visit."""

T = TypeVar("T", bound=Recorded)


@dataclass(frozen=True, slots=True)
class OnRecord(Generic[T]):
    """A record with its place in the journal.

    Attributes:
        id: of its entry.
        record: itself.
        evidence: what a verdict rests on, None where none is kept.
    """

    id: str
    record: T
    evidence: Evidence | None = None


@dataclass(slots=True)
class Visit:
    """One stay of a unit on a bench.

    Attributes:
        started: how it began.
        verdicts: all of them, oldest first, whether they count or not.
        typed: results typed in for it.
        notices: that name the unit.
        result: how it stands, with all that was typed in for it; its id is that of the latest revision on
            record. None while it is on the bench.
    """

    started: OnRecord[UnitStarted]
    verdicts: list[OnRecord[Verdict]] = field(default_factory=list)
    typed: list[OnRecord[TypedResult]] = field(default_factory=list)
    notices: list[OnRecord[Notice]] = field(default_factory=list)
    result: OnRecord[UnitResult] | None = None

    @property
    def purpose(self) -> Purpose:
        """Why the unit came."""
        return self.started.record.purpose

    @property
    def judged(self) -> bool:
        """Whether it ended with an outcome, not held and not given up."""
        return self.result is not None and self.result.record.outcome is not None

    def deciding(self) -> dict[str, OnRecord[Verdict]]:
        """The verdict that decides each step: the last that counts, in the order of the first touches."""
        found = {each.record.step: each for each in self.verdicts if each.record.counts}
        order = dict.fromkeys(each.record.step for each in self.verdicts)
        return {step: found[step] for step in order if step in found}

    def resistances(self) -> dict[str, OnRecord[Verdict]]:
        """As `deciding`, without the repetition that only asks whether the unit is warm."""
        return {step: each for step, each in self.deciding().items() if step != WARM_CHECK}


def visits_of(entries: Iterable[Entry]) -> list[Visit]:
    """Split the record of one unit into its visits, oldest first.

    Args:
        entries: of one serial, oldest first.

    Raises:
        JournalUnusable: an entry does not hold what its kind says.
    """
    visits: list[Visit] = []
    for entry in entries:
        if entry.kind not in KINDS:
            continue
        record = record_of(entry)
        if isinstance(record, UnitStarted):
            visits.append(Visit(OnRecord(entry.id, record)))
        elif visits:
            _add(visits[-1], entry, record)
    return visits


def _add(visit: Visit, entry: Entry, record: Any) -> None:
    match record:
        case Verdict():
            visit.verdicts.append(OnRecord(entry.id, record, _evidence(entry)))
        case TypedResult():
            visit.typed.append(OnRecord(entry.id, record))
            if visit.result is not None:
                typed = [each.record for each in visit.typed]
                visit.result = OnRecord(visit.result.id, settled(visit.result.record, typed))
        case Notice():
            visit.notices.append(OnRecord(entry.id, record))
        case UnitResult():
            visit.result = OnRecord(entry.id, record)


def visits_on(record: Record, serial: str) -> list[Visit]:
    """All visits of one unit.

    Raises:
        InputImpossible: the unit was never on a bench of this record.
        JournalUnusable: the record cannot be read.
    """
    visits = visits_of(record.by_serial(serial))
    if not visits:
        raise InputImpossible(
            f"{serial} was never on a bench of this record.",
            "Check the serial: steadyohm history lists them.",
        )
    return visits


def record_of(entry: Entry) -> Recorded:
    """The record of an entry.

    Raises:
        JournalUnusable: the entry was written by a program whose record differs, or is damaged.
    """
    try:
        return entry.record
    except ValueError as error:
        raise JournalUnusable(f"Entry {entry.id} cannot be read as a {entry.kind}: {error}.") from error


def _evidence(entry: Entry) -> Evidence | None:
    try:
        return None if entry.evidence is None else evidence_from_plain(entry.evidence)
    except ValueError as error:
        raise JournalUnusable(f"The evidence of entry {entry.id} is damaged: {error}.") from error
