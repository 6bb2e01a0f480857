"""Which entries a bench that starts again must be told, so that they stay in the journal's own file.

Not for what the bench makes of them (pipeline).
"""

from __future__ import annotations

import sqlite3

from acquire.records.codes import Code

OWED = (
    ("lead_zero", ""),
    ("check_standard", ""),
    *(
        ("notice", code)
        for code in (
            Code.BENCH_LEARNT,
            Code.TEMPERATURE_TYPED,
            Code.LEADS_ASKED,
            Code.CHECK_ASKED,
            Code.CHECK_OTHER,
            Code.CHECK_OVERRIDDEN,
            Code.SERIAL_DOUBTFUL,
            Code.SCAN_TAKEN_BACK,
        )
    ),
)
"""Kinds and codes of entries, the latest of which a bench must remember."""

_LATEST_START = "SELECT max(seq) FROM entry WHERE kind = 'unit_started' AND seq < ?"
_CAME_BACK = """SELECT serial FROM entry
    WHERE seq >= ? AND kind = 'notice' AND json_extract(payload, '$.code') = ? ORDER BY seq DESC LIMIT 1"""
_JUDGED = "SELECT 1 FROM entry WHERE seq >= ? AND kind = 'verdict' LIMIT 1"
_LEFT_LAST = "SELECT serial FROM entry WHERE seq < ? AND kind = 'unit_result' ORDER BY seq DESC LIMIT 1"
_OWED = """SELECT max(seq) FROM entry
    WHERE kind = ? AND ? IN ('', json_extract(payload, '$.code')) AND seq < ?"""


def latest_start(connection: sqlite3.Connection, end: int) -> int:
    """Where the latest unit was started, or an earlier one that came back or still can.

    Args:
        connection: of the journal.
        end: what to give where no unit was ever started; beyond all entries.
    """

    def first(sql: str, *values: int | str) -> tuple[int | str, ...]:
        row = connection.execute(sql, values).fetchone()
        return () if row is None or row[0] is None else tuple(row)

    start = int(first(_LATEST_START, end)[0]) if first(_LATEST_START, end) else end
    while True:
        serial = first(_CAME_BACK, start, Code.UNIT_REOPENED)
        if not serial and not first(_JUDGED, start):
            serial = first(_LEFT_LAST, start)
        earlier = first(f"{_LATEST_START} AND serial = ?", start, *serial) if serial else ()
        if not earlier:
            return start
        start = int(earlier[0])


def owed(connection: sqlite3.Connection, start: int) -> list[int]:
    """Numbers of the latest entry of each kind in `OWED` before that start, in order."""
    found = (connection.execute(_OWED, (kind, code, start)).fetchone()[0] for kind, code in OWED)
    return sorted(number for number in found if number is not None)
