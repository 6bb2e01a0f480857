"""What is asked of the record, and what any store of it answers: a bench's journal, or the line's database.

Reports, searches and statistics take a `Record` and never learn which store is behind it. Everything comes as
iterators, oldest first, so that memory does not grow with the record. Not for how a store finds it (history).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any, Protocol, Self

from acquire.errors import JournalUnusable
from acquire.journal.entry import Entry
from acquire.journal.plain import evidence_from_plain, from_plain
from acquire.journal.upgrade import RENAMED, upgraded
from acquire.records import Evidence, Outcome, UnitResult
from acquire.words.faults import sentence
from acquire.words.units import findings_words

PLACE_NAMES = ("id", "seq", "kind", "utc_s")
"""Names that `Record.values` gives of an entry itself; any other is a field of its payload."""

OF_A_VISIT = ("unit_started", "unit_result", "typed_result")
"""Kinds of entries that say how a unit's visit on a bench ended."""

_FIELD = re.compile(r"[a-z][a-z0-9_]{0,62}")
"""How a field of a record may be called; names stand in a store's SQL itself. 63 characters are PostgreSQL's
longest name."""


def check_names(names: Sequence[str]) -> None:
    """Raise unless each of these could be a field's name, and is the same in entries of version 1.

    Raises:
        ValueError: one is not.
    """
    if unfit := [name for name in names if not _FIELD.fullmatch(name)]:
        raise ValueError(f"no field is called {unfit[0]!r}")
    if renamed := [name for name in names if name in RENAMED.values()]:
        raise ValueError(
            f"entries of version 1 spell {renamed[0]} otherwise: find the entries, and read them"
        )


def explains(payload: Any, text: str) -> bool:
    """Whether a unit's result says a text, without capitals, in its first explanation or its findings."""
    try:
        result = from_plain("unit_result", upgraded("unit_result", payload))
    except (ValueError, TypeError):  # not the shape of a result: it says nothing
        return False
    if not isinstance(result, UnitResult):
        return False
    said = [*findings_words(result), *(f"{each.fault} {sentence(each)}" for each in result.hypotheses[:1])]
    return any(text in each.casefold() for each in said)


@dataclass(frozen=True, slots=True)
class Query:
    """What is looked for; every field that is set must hold.

    Attributes:
        serial: of the unit, exactly.
        batch: name of the batch, exactly.
        day: the UTC day of the record.
        kinds: kinds of entries; empty means all.
        limit: at most so many, the latest ones.
        outcomes: of verdicts, units and typed results; empty means any, and entries that have none as well.
        diagnosis: text that the most likely explanation of a unit, or one of its findings, contains; capitals
            do not matter. Only results of units have one.
        meter_id: name of the meter on its bench, exactly.
        sheet: name of the unit type, exactly.
        bench: name of the bench, exactly; a line's record holds many. Notices name none.
        since_utc_s: not before, seconds since 1970-01-01T00:00:00 UTC.
        until_utc_s: before (not at) this time.
        with_evidence: False leaves `Entry.evidence` None, which spares reading most of the file.
    """

    serial: str | None = None
    batch: str | None = None
    day: date | None = None
    kinds: tuple[str, ...] = ()
    limit: int | None = None
    outcomes: tuple[Outcome, ...] = ()
    diagnosis: str | None = None
    meter_id: str | None = None
    sheet: str | None = None
    bench: str | None = None
    since_utc_s: float | None = None
    until_utc_s: float | None = None
    with_evidence: bool = True

    def span_utc_s(self) -> tuple[float | None, float | None]:
        """First time that counts and first that does not any more, `day` included; None: no bound."""
        starts = [] if self.since_utc_s is None else [self.since_utc_s]
        ends = [] if self.until_utc_s is None else [self.until_utc_s]
        if self.day is not None:
            start = datetime(self.day.year, self.day.month, self.day.day, tzinfo=UTC)
            starts.append(start.timestamp())
            ends.append((start + timedelta(days=1)).timestamp())
        return max(starts, default=None), min(ends, default=None)


class Record(Protocol):
    """A store of entries that can be asked; a context manager. All but `close` raise JournalUnusable."""

    def find(self, query: Query) -> Iterator[Entry]:
        """Entries that answer a query, oldest first; close it before the record where it is not read out."""
        ...

    def values(self, query: Query, names: Sequence[str]) -> Iterator[tuple[Any, ...]]:
        """Only these fields of the entries that answer a query, oldest first; for statistics over many.

        Args:
            query: what is looked for; `with_evidence` plays no part.
            names: of `PLACE_NAMES`, or fields of the payload that hold a number, a text, true, false or
                nothing. A field that an entry lacks is None; true and false come as such, or as 1 and 0.

        Raises:
            ValueError: a name could not be a field's.
        """
        ...

    def payloads(self, query: Query) -> Iterator[tuple[str, str, bytes]]:
        """Id, kind and payload of the entries that answer a query, oldest first, the payload as its JSON.

        For reports over many, that read the fields they need by themselves; `with_evidence` plays no part.
        """
        ...

    def batches(self) -> list[tuple[str, int]]:
        """Names of all batches with the number of verdicts in each, the latest first."""
        ...

    def evidence(self, entry_id: str) -> Evidence | None:
        """What one verdict rests on; None where no such entry, or no evidence of it, is kept."""
        ...

    def close(self) -> None:
        """Give back what is open."""
        ...

    def by_serial(self, serial: str) -> list[Entry]:
        """Everything on the record of one unit, oldest first, with evidence."""
        return list(self.find(Query(serial=serial)))

    def __enter__(self) -> Self:
        """Give the record itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close it."""
        self.close()


def evidence_of(entry_id: str, plain: dict[str, Any]) -> Evidence:
    """The evidence of an entry. Raises JournalUnusable where it is damaged."""
    try:
        return evidence_from_plain(plain)
    except ValueError as error:
        raise JournalUnusable(f"The evidence of entry {entry_id} is damaged: {error}.") from error
