"""One entry of the journal, as outlets and the history see it, and as a row of the table `entry`."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import dataclass, replace
from typing import Any

from acquire.errors import JournalUnusable
from acquire.journal.plain import from_plain, kind_of, to_plain
from acquire.journal.upgrade import in_todays_names, upgraded
from acquire.records import Evidence, Recorded


@dataclass(frozen=True, slots=True)
class Entry:
    """A record with its place in the journal.

    Attributes:
        seq: sequence number, from 1, rising by commit; never used twice in one journal.
        id: the journal's birth id, "-", and `seq`: the same for every copy of this entry wherever it is sent,
            so that a consumer can count it once.
        kind: a key of `acquire.journal.plain.KINDS`.
        utc_s: time of the record, seconds since 1970-01-01T00:00:00 UTC. Order follows `seq`, never this.
        serial: of the unit; empty where the record belongs to none.
        payload: the record in JSON values.
        evidence: what a verdict rests on, in JSON values; None where there is none.
    """

    seq: int
    id: str
    kind: str
    utc_s: float
    serial: str
    payload: dict[str, Any]
    evidence: dict[str, Any] | None = None

    @property
    def record(self) -> Recorded:
        """The record itself.

        Raises:
            ValueError: the payload was written by a program whose record differs.
        """
        return from_plain(self.kind, self.payload)


def unnumbered(record: Recorded, evidence: Evidence | None) -> Entry:
    """A record and its evidence, spelt; they have no place in a journal yet."""
    payload, kept = to_plain(record), None if evidence is None else to_plain(evidence)
    serial = storable(payload.get("serial", ""))  # as it will be read back
    return Entry(0, "", kind_of(record), record.utc_s, serial, payload, kept)


def insert_entry(connection: sqlite3.Connection, entry: Entry, birth: str = "") -> Entry:
    """Write an entry inside a transaction, under the number that it has, or under the next one."""
    batch = storable(str(entry.payload.get("batch", "")))
    evidence = None if entry.evidence is None else _json(entry.evidence)
    row = (entry.seq or None, entry.kind, entry.utc_s, entry.serial, batch, _json(entry.payload), evidence)
    seq = connection.execute("INSERT INTO entry VALUES (?, ?, ?, ?, ?, ?, ?)", row).lastrowid
    assert seq is not None  # noqa: S101  (an INSERT always gives one; the type does not know)
    return entry if entry.seq else replace(entry, seq=seq, id=f"{birth}-{seq}")


def entry_of(birth: str, row: tuple[Any, ...]) -> Entry:
    """Make the entry of a row of the table `entry`.

    Raises:
        JournalUnusable: its content is no JSON any more.
    """
    seq, kind, utc_s, serial, _batch, payload, evidence = row
    if not isinstance(payload, str):
        raise _damaged(seq, "it holds no text")
    try:
        plain = json.loads(in_todays_names(payload, kind))
        kept = None if evidence is None else json.loads(evidence)
    except (ValueError, TypeError) as error:
        raise _damaged(seq, str(error)) from error
    if not isinstance(plain, dict):
        raise _damaged(seq, "it holds no record")
    return Entry(seq, f"{birth}-{seq}", kind, utc_s, serial, upgraded(kind, plain), kept)


def _damaged(seq: object, why: str) -> JournalUnusable:
    what = f"Entry {seq} of the journal is damaged: {why}."
    return JournalUnusable(what, "Keep the file, and begin a new journal.")


def storable(text: str) -> str:
    """Text as a column can hold it: half a surrogate pair (hostile input) becomes a question mark."""
    return text.encode("utf-8", "replace").decode("utf-8")


def _json(payload: dict[str, Any]) -> str:
    return json.dumps(payload, separators=(",", ":"), allow_nan=False)
