"""The line's schema in PostgreSQL: tables as numbered steps, and views over them.

A step that was released is never edited; each shares one transaction with its note. Entries and evidence are
partitioned by month of their time. Views are made anew after each migration, so that they can change freely;
reports read them by name. Several collectors may start at once: one of them makes the steps, the others wait
for it. Not for who may read (`sql/roles.sql`).
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import get_type_hints

import psycopg

from acquire.errors import SteadyohmError
from acquire.line import sql
from acquire.outlets.payload import SAID
from acquire.records import Verdict

MIGRATIONS = (
    "entries, evidence, journals and what came in",
    "partitions by month",
    "an index of all kinds but verdicts",
    "an index of units' results",
    "names of version 2",
)
"""What each step brings, in order; `sql/step-1.sql` and so on make them."""

TYPES = {float: "double precision", int: "bigint", bool: "boolean", str: "text"}
"""What a field of a record is in SQL."""


def verdict_view() -> str:
    """Give the statement that makes the view of verdicts, with the record's fields and its sentences."""
    own = {"bench", "serial", "batch", "sheet", "outcome"}
    columns = []
    for name, hint in {**get_type_hints(Verdict), **dict.fromkeys(SAID["verdict"], str)}.items():
        kind = next((sql for python, sql in TYPES.items() if _is(hint, python)), "text")
        taken = name if name in own else f"(payload ->> '{name}')::{kind} AS {name}"
        columns.append(taken)
    listed = ",\n    ".join(columns)
    return (
        "CREATE VIEW steadyohm.verdict AS\nSELECT journal || '-' || seq AS id, journal, seq, utc,\n    "
        f"{listed}\nFROM steadyohm.entry WHERE kind = 'verdict';\n"
        "COMMENT ON VIEW steadyohm.verdict IS 'Verdicts with the columns of the CSV.';\n"
    )


NAMES = ("look_back", "bench_status", "capability_input", "yield_of_steps", "yield", "unit", "verdict")
"""In the order in which they can be dropped."""


def _is(hint: object, python: type) -> bool:
    """Whether a field holds this type, or nothing."""
    return hint in (python, python | None)


EARLIEST = date(2020, 1, 1)
"""No bench of ours measured before; an earlier time is a clock's fault and goes to the default partition."""

_LOCK = "SELECT pg_advisory_xact_lock(1398358104, 2)"


class DatabaseUnfit(SteadyohmError):
    """The database cannot be used as it is; starting again would not help."""

    exit_code = 2


async def version_of(connection: psycopg.AsyncConnection) -> int:
    """How many steps a database has had; 0 for an empty one."""
    found = await connection.execute(
        "SELECT EXISTS (SELECT FROM pg_tables WHERE schemaname = 'steadyohm' AND tablename = 'migration')"
    )
    row = await found.fetchone()
    if row is None or not row[0]:
        return 0
    found = await connection.execute("SELECT coalesce(max(number), 0) FROM steadyohm.migration")
    row = await found.fetchone()
    return int(row[0]) if row else 0


async def migrate(connection: psycopg.AsyncConnection, *, may: bool = True) -> int:
    """Make the steps that are missing; nothing where none is.

    Args:
        connection: in autocommit mode.
        may: False refuses to make any.

    Returns:
        How many were made.

    Raises:
        DatabaseUnfit: it is of a newer version, or this login may not do it.
        psycopg.Error: the database is away.
    """
    there = await version_of(connection)
    if there > len(MIGRATIONS):
        raise DatabaseUnfit("The line's database was made by a newer version of this program.", "Update it.")
    if there == len(MIGRATIONS):
        return 0
    if not may:
        raise _needs_owner()
    try:
        async with connection.transaction():
            await connection.execute(_LOCK)
            return await _steps(connection)
    except psycopg.errors.InsufficientPrivilege as error:
        raise _needs_owner() from error


async def _steps(connection: psycopg.AsyncConnection) -> int:
    there = await version_of(connection)
    if there == 0:
        # Asked of the tables, here and above: after waiting for a lock, to_regclass still sees its own cache.
        found = await connection.execute(
            "SELECT NOT EXISTS (SELECT FROM pg_namespace WHERE nspname = 'steadyohm')"
        )
        row = await found.fetchone()
        if row and row[0]:
            await connection.execute("CREATE SCHEMA steadyohm")
        await connection.execute(
            "CREATE TABLE steadyohm.migration (number int PRIMARY KEY, name text NOT NULL,"
            " utc timestamptz NOT NULL DEFAULT now())"
        )
    steps = MIGRATIONS[there:]
    for name in NAMES if steps else ():
        await connection.execute(f"DROP VIEW IF EXISTS steadyohm.{name}".encode())
    for number, step in enumerate(steps, start=there + 1):
        await connection.execute(sql(f"step-{number}"))
        note = "INSERT INTO steadyohm.migration (number, name) VALUES (%s, %s)"
        await connection.execute(note, (number, step))
    for statements in (verdict_view().encode(), sql("views"), sql("grants")) if steps else ():
        await connection.execute(statements)
    return len(steps)


def _needs_owner() -> DatabaseUnfit:
    return DatabaseUnfit(
        "The line's database has not the tables that this version needs, and this login may not make them.",
        "Run once: steadyohm collect COLLECTOR.toml --migrate, with the login of the owner.",
    )


async def make_months(connection: psycopg.AsyncConnection, days: set[date]) -> None:
    """Make the partitions of the months that these days lie in.

    Raises:
        psycopg.Error: the database is away.
    """
    for day in sorted(days):
        await connection.execute("SELECT steadyohm.make_month(%s)", (day,))


def months_ahead(now_utc_s: float) -> set[date]:
    """First days of this month and of the next, for which partitions are made ahead."""
    day = datetime.fromtimestamp(now_utc_s, UTC).date().replace(day=1)
    return {day, date(day.year + day.month // 12, day.month % 12 + 1, 1)}
