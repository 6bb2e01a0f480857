"""The journal by plain sqlite3 and json: kinds, ids, numbers and codes, never sentences."""

from __future__ import annotations

import contextlib
import json
import sqlite3
from dataclasses import dataclass


@dataclass(frozen=True)
class Entry:
    """One entry as it lies on the disk."""

    seq: int
    kind: str
    utc_s: float
    serial: str
    payload: dict
    evidence: dict | None


def is_held(result):
    """Whether a unit's result says that it must cool first; journals of earlier days say it in `held`."""
    return result["outcome"] is None and (
        result["ending"] == "warm" if "ending" in result else bool(result["held"])
    )


class Journal:
    """The record of one bench, read beside the daemon that writes it."""

    def __init__(self, folder):
        self.file = folder / "journal" / "journal.db"

    def _ask(self, text, *words):
        if not self.file.exists():
            return []
        with contextlib.closing(sqlite3.connect(f"file:{self.file}?mode=ro", uri=True, timeout=10)) as link:
            try:
                return link.execute(text, words).fetchall()
            except sqlite3.OperationalError:  # not made yet
                return []

    def count(self):
        """How many entries there are."""
        rows = self._ask("SELECT count(*) FROM entry")
        return rows[0][0] if rows else 0

    def entries(self, *kinds, serial=None, after=0):
        """Entries in order, of these kinds (all without any), of one serial if given."""
        rows = self._ask(
            "SELECT seq, kind, utc_s, serial, payload, evidence FROM entry WHERE seq > ? ORDER BY seq", after
        )
        found = [Entry(*row[:4], json.loads(row[4]), json.loads(row[5]) if row[5] else None) for row in rows]
        return [
            entry
            for entry in found
            if (not kinds or entry.kind in kinds) and (serial is None or entry.serial == serial)
        ]

    def verdicts(self, serial=None, *, counting=False):
        """Verdicts as their records; `counting`: only those that count."""
        told = [entry.payload for entry in self.entries("verdict", serial=serial)]
        return [payload for payload in told if payload["counts"] or not counting]

    def result(self, serial):
        """The unit's latest result, None before there is one."""
        told = [entry.payload for entry in self.entries("unit_result", serial=serial)]
        return told[-1] if told else None

    def codes(self, serial=None):
        """Codes of all notices, in order."""
        return [entry.payload["code"] for entry in self.entries("notice", serial=serial)]
