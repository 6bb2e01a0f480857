"""One entry of the journal, as outlets and the history see it. Not for how it is stored (store, schema)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from acquire.journal.plain import from_plain
from acquire.records import Recorded


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
