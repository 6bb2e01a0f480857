"""What is asked of the record, and what any store of it answers: a bench's journal, or the line's database.

Reports, searches and statistics take a `Record` and never learn which store is behind it. Everything comes as
iterators, oldest first, so that memory does not grow with the record. Not for how a store finds it (history).
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any, Protocol, Self

import msgspec

from acquire.errors import JournalUnusable
from acquire.journal.entry import Entry, storable
from acquire.journal.plain import evidence_from_plain, from_plain
from acquire.journal.upgrade import RENAMED, in_todays_names, upgraded
from acquire.records import Evidence, Outcome, UnitResult
from acquire.words.faults import sentence
from acquire.words.units import findings_words

OF_A_VISIT = ("unit_started", "unit_result", "typed_result")
"""Kinds of entries that say how a unit's visit on a bench ended."""


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


def conditions(query: Query, columns: Mapping[str, str]) -> tuple[list[str], list[Any]]:
    """A query as conditions of SQL with the values to bind, `?` in the place of each; not its diagnosis.

    Args:
        query: what is looked for.
        columns: where a store keeps serial, batch, meter_id, sheet, bench, kind and outcome; and, by "utc_s",
            how it holds its time against a bound, with braces in the place of the sign.
    """
    parts: list[str] = []
    values: list[Any] = []
    for name in ("serial", "batch", "meter_id", "sheet", "bench"):
        if (wanted := getattr(query, name)) is not None:
            parts.append(f"{columns[name]} = ?")
            values.append(storable(wanted))
    for sign, bound in zip((">=", "<"), query.span_utc_s(), strict=True):
        if bound is not None:
            parts.append(columns["utc_s"].format(sign))
            values.append(bound)
    of_units = ("unit_result",) if query.diagnosis is not None else ()
    outcomes = tuple(each.value for each in query.outcomes)
    for name, among in (("kind", query.kinds), ("kind", of_units), ("outcome", outcomes)):
        if among:
            parts.append(f"{columns[name]} IN ({', '.join('?' * len(among))})")
            values += among
    return parts, values


class Record(Protocol):
    """A store of entries that can be asked; a context manager. All but `close` raise JournalUnusable."""

    def find(self, query: Query) -> Iterator[Entry]:
        """Entries that answer a query, oldest first; close it before the record where it is not read out."""
        ...

    def values(self, query: Query, names: Sequence[str]) -> Iterator[tuple[Any, ...]]:
        """Only these fields of the entries that answer a query, oldest first; for statistics over many.

        Args:
            query: what is looked for; `with_evidence` plays no part.
            names: of fields of the payload, as they stand in it; or "id", "seq", "kind" of the entry itself.
                A field that an entry lacks is None.
        """
        row = msgspec.defstruct("Fields", [(name, Any, None) for name in names])
        decode = msgspec.json.Decoder(row).decode
        renamed = not {*RENAMED.values(), "ending", "code"}.isdisjoint(names)
        own = [name for name in ("id", "seq", "kind") if name in names]
        for entry_id, kind, stored in self.payloads(query):
            payload = in_todays_names(stored) if renamed else stored
            try:
                held = decode(payload)
            except (msgspec.MsgspecError, UnicodeError):  # half a surrogate pair, or damage
                held = row(**{name: _plain(entry_id, payload).get(name) for name in names})
            of_entry = {"id": entry_id, "seq": int(entry_id.rpartition("-")[2]), "kind": kind}
            for name in own:
                setattr(held, name, of_entry[name])
            yield msgspec.structs.astuple(held)

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


def _plain(entry_id: str, payload: bytes) -> dict[str, Any]:
    try:
        return dict(json.loads(payload.decode("utf-8", "surrogatepass")))
    except (ValueError, TypeError) as error:
        raise JournalUnusable(f"Entry {entry_id} of the journal is damaged: {error}.") from error


def evidence_of(entry_id: str, plain: dict[str, Any]) -> Evidence:
    """The evidence of an entry. Raises JournalUnusable where it is damaged."""
    try:
        return evidence_from_plain(plain)
    except ValueError as error:
        raise JournalUnusable(f"The evidence of entry {entry_id} is damaged: {error}.") from error
