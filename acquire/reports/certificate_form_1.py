"""Certificates of form 1, which version 0.1.0 issued until November 2026: their facts against the record.

They hold values beside sentences. Every value that still stands on the record is compared; sentences are not,
and that is said. Such a page is no longer drawn. Not for certificates of today (certificate_check).
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from typing import Any

from acquire.errors import InputImpossible
from acquire.journal.entry import Entry
from acquire.journal.question import Record
from acquire.records import Outcome
from acquire.reports.issued import superseded
from acquire.reports.visits import visits_of

SENTENCES = frozenset({"reason", "doubt", "text", "hint"})
"""Fields that hold words of that version."""

HOW = "Its values were compared with the record; its sentences (findings, what was not tested) were not."


def is_of_form_1(text: str) -> bool:
    """Whether these facts are of form 1."""
    return text.startswith('{"form":1,')


class FormOne:
    """The facts of one such certificate.

    Attributes:
        number, digest, serial, software: as they stand on it.
        superseded: a sentence where the record has a later revision of the result; known once compared.
    """

    def __init__(self, text: str) -> None:
        """Take them up. Raises InputImpossible where they are damaged."""
        try:
            plain = json.loads(text)
            self.measured: dict[str, Any] = plain["measured"]
            self.software, self.as_of_s = (
                str(plain["given"]["software"]),
                float(plain["given"]["as_of_utc_s"]),
            )
            self.serial, self.result_id = str(self.measured["serial"]), str(self.measured["result_id"])
            self.outcome = Outcome(self.measured["outcome"])
            self.parts = [part for name in ("steps", "typed") for part in map(dict, self.measured[name])]
        except (ValueError, KeyError, TypeError, RecursionError) as error:
            raise InputImpossible("The facts in this certificate are damaged.") from error
        self.digest = hashlib.sha256(text.encode("ascii")).hexdigest()
        birth, _, seq = self.result_id.partition("-")
        self.number = f"{birth[:8]}-{seq}-{self.digest[:8]}".upper()
        self.superseded = ""

    def compared(self, record: Record) -> tuple[bool, list[str]]:
        """Whether its values are those on the record, and what to know, in sentences."""
        entries = record.by_serial(self.serial)
        now = visits_of(entries)
        then = visits_of(entry for entry in entries if entry.utc_s <= self.as_of_s)
        visit = next((v for v in then if self.result_id in {each.id for each in v.results}), None)
        if visit is None:
            return False, [f"THE RECORD KNOWS NO SUCH RESULT: entry {self.result_id} of {self.serial}."]
        known = {entry.id: entry for entry in entries}
        of_visit = {*visit.entry_ids()} - {each.id for each in visit.results}
        differing = [*_differing(self.measured, known[self.result_id]), *self._parts(known, of_visit)]
        if visit.outcome is not self.outcome:
            differing.insert(0, "outcome")
        if differing:
            return False, [f"THE FACTS DIFFER FROM THE RECORD in {', '.join(differing)}."]
        self.superseded = superseded(self.result_id, (visit.revision[0], self.outcome), now)
        return True, ["Its measured values are those on the record.", HOW, *filter(None, [self.superseded])]

    def _parts(self, known: dict[str, Entry], of_visit: set[str]) -> Iterator[str]:
        for part in self.parts:
            entry = known.get(str(part.get("id")))
            of_visit.discard(str(part.get("id")))
            name = f"entry {part.get('id')} ({part.get('step') or part.get('name')})"
            if entry is None:
                yield f"{name}, which is not on the record"
            elif wrong := list(_differing(part, entry)):
                yield f"{name}: {', '.join(wrong)}"
        yield from (f"entry {each} (missing on the certificate)" for each in sorted(of_visit))


def _differing(claimed: dict[str, Any], entry: Entry) -> Iterator[str]:
    """Names of values that a record holds otherwise; `counts` was worked out when it was issued."""
    for name, value in claimed.items():
        kept = entry.payload.get(name, value)
        plain = isinstance(value, str | int | float | bool | None) and name not in SENTENCES | {
            "counts",
            "outcome",
        }
        if (plain or (name == "outcome" and entry.kind != "unit_result")) and kept != value:
            yield name.replace("_", " ")
