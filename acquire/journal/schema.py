"""The journal's tables, the numbered steps that lead to them, and which entries a new start must be told.

Each migration and the note that it was made share one transaction, so that a power cut leaves either the old
schema or the new one. A step that has been released is never edited: a change is a new step. Not for reading
or writing entries (store).
"""

from __future__ import annotations

import sqlite3
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from acquire.records.codes import Code

APPLICATION_ID = 0x5D9A0841
"""In the file's head (bytes 68 to 71), so that another program's database is not taken for ours. Drawn once
by chance."""


MIGRATIONS = tuple(
    Path(__file__).with_name("sql").joinpath(f"step-{number}.sql").read_text(encoding="utf-8")
    for number in (1, 2, 3)
)
"""All steps, in order, each a file whose first line names it; a schema's version is how many were made."""

LATEST_DEEDS = """SELECT * FROM entry WHERE seq IN
    (SELECT max(seq) FROM entry WHERE kind = 'batch' AND kind <> 'verdict' GROUP BY batch) ORDER BY seq"""
"""The latest deed on each batch; the second condition is the index's own, and lets it serve."""


@contextmanager
def atomic(connection: sqlite3.Connection) -> Iterator[None]:
    """Make everything inside one transaction: all of it on the disk at the end, or none.

    The connection must be in autocommit mode (`isolation_level=None`), so that nobody else begins or ends
    one.
    """
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:  # some errors (disk full) have rolled back already
            connection.execute("ROLLBACK")
        raise


def version_of(connection: sqlite3.Connection) -> int:
    """How many migrations a file has had; 0 for a new one."""
    found = connection.execute("SELECT count(*) FROM sqlite_schema WHERE name = 'migration'").fetchone()[0]
    if not found:
        return 0
    return int(connection.execute("SELECT coalesce(max(number), 0) FROM migration").fetchone()[0])


def migrate(connection: sqlite3.Connection, bench: str, utc_s: float, birth: str = "") -> int:
    """Bring a file to the present schema; a new file also gets its birth id.

    Args:
        connection: in autocommit mode.
        bench: name of the bench, kept for people who find the file.
        utc_s: time for the notes.
        birth: birth id of a new file; empty draws one.

    Returns:
        How many steps were made.
    """
    made = 0
    for number, step in enumerate(MIGRATIONS, start=1):
        if number <= version_of(connection):
            continue
        with atomic(connection):
            if number == 1:
                connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                connection.execute(
                    "CREATE TABLE migration (number INTEGER PRIMARY KEY, name TEXT NOT NULL,"
                    " utc_s REAL NOT NULL) STRICT"
                )
            for statement in filter(str.strip, step.split(";\n")):
                connection.execute(statement)
            if number == 1:
                rows = [("birth", birth or uuid.uuid4().hex[:16]), ("bench", bench)]
                connection.executemany("INSERT INTO about VALUES (?, ?)", rows)
            name = step.partition("\n")[0].removeprefix("-- ")
            connection.execute("INSERT INTO migration VALUES (?, ?, ?)", (number, name, utc_s))
        made += 1
    return made


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
