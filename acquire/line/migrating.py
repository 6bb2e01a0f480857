"""The line's schema in PostgreSQL: tables as numbered steps, and views over them.

A step that was released is never edited; each shares one transaction with its note. Entries and evidence are
partitioned by month of their time. Views are made anew after each migration, so that they can change freely;
reports read them by name. Several collectors may start at once: one of them makes the steps, the others wait
for it. Not for who may read (roles).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import get_type_hints

import psycopg

from acquire.errors import SteadyohmError
from acquire.line.roles import GRANTS
from acquire.outlets.payload import SAID
from acquire.records import Verdict


@dataclass(frozen=True, slots=True)
class Migration:
    """One step.

    Attributes:
        name: what it does, in a few words.
        sql: statements; they and the note of the step share a transaction.
    """

    name: str
    sql: str


FIRST_TABLES = """
CREATE TABLE steadyohm.entry (
    bench text NOT NULL,
    journal text NOT NULL,
    seq bigint NOT NULL,
    utc timestamptz NOT NULL,
    kind text NOT NULL,
    serial text NOT NULL,
    batch text NOT NULL,
    sheet text NOT NULL,
    meter text NOT NULL,
    outcome text,
    payload jsonb NOT NULL,
    PRIMARY KEY (journal, seq, bench, utc)
) PARTITION BY RANGE (utc);
COMMENT ON TABLE steadyohm.entry IS
    'What the benches'' journals hold; journal and seq make the id, payload is the record as published.';
CREATE INDEX entry_utc ON steadyohm.entry (utc);
CREATE INDEX entry_day ON steadyohm.entry (((utc AT TIME ZONE 'UTC')::date), kind);
CREATE INDEX entry_serial ON steadyohm.entry (serial) WHERE serial <> '';
CREATE INDEX entry_batch ON steadyohm.entry (batch) WHERE batch <> '';

CREATE TABLE steadyohm.evidence (
    bench text NOT NULL,
    journal text NOT NULL,
    seq bigint NOT NULL,
    utc timestamptz NOT NULL,
    evidence json NOT NULL,
    PRIMARY KEY (journal, seq, bench, utc)
) PARTITION BY RANGE (utc);
COMMENT ON TABLE steadyohm.evidence IS 'What verdicts rest on, by the id and the time of the verdict.';

CREATE TABLE steadyohm.entry_other PARTITION OF steadyohm.entry DEFAULT;
CREATE TABLE steadyohm.evidence_other PARTITION OF steadyohm.evidence DEFAULT;
COMMENT ON TABLE steadyohm.entry_other IS 'Entries of benches whose clocks are years wrong.';

CREATE TABLE steadyohm.journal (
    bench text NOT NULL,
    journal text NOT NULL,
    kept bigint NOT NULL DEFAULT 0,
    latest timestamptz,
    PRIMARY KEY (bench, journal)
);
COMMENT ON COLUMN steadyohm.journal.kept IS
    'Twice the number of the last entry before the first gap; one less where only its evidence is there.';

CREATE TABLE steadyohm.arrival (
    number bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    bench text NOT NULL,
    journal text NOT NULL,
    after bigint NOT NULL,
    upto bigint NOT NULL,
    latest timestamptz
);
COMMENT ON TABLE steadyohm.arrival IS
    'Stretches of journals that have come in and are not yet counted in journal.kept.';

CREATE TABLE steadyohm.rejected (
    digest bytea PRIMARY KEY,
    utc timestamptz NOT NULL DEFAULT now(),
    topic text NOT NULL,
    reason text NOT NULL,
    payload bytea NOT NULL
);
COMMENT ON TABLE steadyohm.rejected IS
    'Messages that are no record of ours, cut to 4 kB, and why; the latest 10000.';
"""

MONTHS = """
CREATE FUNCTION steadyohm.make_month(day date) RETURNS boolean
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, pg_temp AS $$
DECLARE
    first date := date_trunc('month', day::timestamp)::date;
    behind date := (date_trunc('month', day::timestamp) + interval '1 month')::date;
    since text := first::text || ' 00:00:00+00';
    until text := behind::text || ' 00:00:00+00';
    parent text;
    part text;
BEGIN
    PERFORM pg_advisory_xact_lock(1398358104, 1);
    -- Asked of the table: after waiting for a lock, to_regclass still sees its own cache.
    IF EXISTS (SELECT FROM pg_tables WHERE schemaname = 'steadyohm'
            AND tablename = 'entry_' || to_char(first, 'YYYY_MM')) THEN
        RETURN false;
    END IF;
    FOREACH parent IN ARRAY ARRAY['entry', 'evidence'] LOOP
        part := format('%s_%s', parent, to_char(first, 'YYYY_MM'));
        EXECUTE format('CREATE TABLE steadyohm.%I (LIKE steadyohm.%I INCLUDING DEFAULTS INCLUDING INDEXES)',
            part, parent);
        EXECUTE format(
            'WITH moved AS (DELETE FROM steadyohm.%I WHERE utc >= %L AND utc < %L RETURNING *)'
            ' INSERT INTO steadyohm.%I SELECT * FROM moved', parent || '_other', since, until, part);
        EXECUTE format('ALTER TABLE steadyohm.%I ATTACH PARTITION steadyohm.%I FOR VALUES FROM (%L) TO (%L)',
            parent, part, since, until);
    END LOOP;
    RETURN true;
END $$;
COMMENT ON FUNCTION steadyohm.make_month IS
    'Makes the partitions of a month (UTC), and moves there what waits in the default ones.';
REVOKE ALL ON FUNCTION steadyohm.make_month FROM PUBLIC;
"""

RARE_KINDS = """
CREATE INDEX entry_kind ON steadyohm.entry (kind, utc) WHERE kind <> 'verdict';
"""
"""Check standards, lead zeros, batches: a handful among a thousand verdicts, and asked for by their kind."""

RESULTS = """
CREATE INDEX entry_result ON steadyohm.entry (serial, utc) WHERE kind = 'unit_result';
"""
"""Later revisions of a unit's result are looked up by its serial, for every unit of a day."""

MIGRATIONS: tuple[Migration, ...] = (
    Migration("entries, evidence, journals and what came in", FIRST_TABLES),
    Migration("partitions by month", MONTHS),
    Migration("an index of all kinds but verdicts", RARE_KINDS),
    Migration("an index of units' results", RESULTS),
)
"""All steps, in order. Views and grants are made anew after any step (migrating)."""

TYPES = {float: "double precision", int: "bigint", bool: "boolean", str: "text"}
"""What a field of a record is in SQL."""

YIELD = """
CREATE VIEW steadyohm.unit AS
SELECT first.bench, first.journal, first.seq, first.utc, first.serial, first.sheet, first.batch,
    first.payload ->> 'purpose' AS purpose,
    CASE WHEN latest.revision IS NULL THEN first.outcome ELSE latest.outcome END AS outcome,
    coalesce(latest.revision, 0) AS revision, coalesce(latest.payload, first.payload) AS payload
FROM steadyohm.entry first
LEFT JOIN LATERAL (
    SELECT (later.payload ->> 'revision')::bigint AS revision, later.outcome, later.payload
    FROM steadyohm.entry later
    WHERE later.kind = 'unit_result' AND later.serial = first.serial AND later.serial <> ''
        AND later.bench = first.bench AND later.utc >= first.utc
        AND later.payload -> 'started_utc_s' = first.payload -> 'started_utc_s'
        AND (later.payload ->> 'revision')::bigint > 0
    ORDER BY 1 DESC LIMIT 1
) AS latest ON true
WHERE first.kind = 'unit_result' AND coalesce((first.payload ->> 'revision')::bigint, 0) = 0;
COMMENT ON VIEW steadyohm.unit IS
    'Each stay of a unit on a bench once, by its first result, with how it stands at its latest revision.';

CREATE VIEW steadyohm.yield AS
SELECT (utc AT TIME ZONE 'UTC')::date AS day, bench, sheet, batch, purpose,
    count(*) AS units,
    count(*) FILTER (WHERE outcome IN ('pass', 'conditional_pass')) AS passed,
    count(*) FILTER (WHERE outcome IN ('fail', 'conditional_fail')) AS failed,
    count(*) FILTER (WHERE outcome = 'cannot_judge') AS not_judged
FROM steadyohm.unit
WHERE outcome IS NOT NULL
GROUP BY 1, 2, 3, 4, 5;
COMMENT ON VIEW steadyohm.yield IS
    'Units judged, by UTC day, bench, sheet, batch and purpose; a serial counts each time it was tested.';

CREATE VIEW steadyohm.yield_of_steps AS
SELECT (utc AT TIME ZONE 'UTC')::date AS day, bench, sheet, batch, payload ->> 'step' AS step,
    count(*) AS verdicts,
    count(*) FILTER (WHERE outcome IN ('pass', 'conditional_pass')) AS passed
FROM steadyohm.entry
WHERE kind = 'verdict' AND (payload ->> 'counts')::boolean
GROUP BY 1, 2, 3, 4, 5;
COMMENT ON VIEW steadyohm.yield_of_steps IS 'Verdicts that count, by UTC day, bench, sheet, batch and step.';
"""

CAPABILITY = """
CREATE VIEW steadyohm.capability_input AS
SELECT bench, sheet, sheet_hash, step, batch, purpose, serial, operator, meter_id, utc, outcome,
    reference_ohm, expanded_ohm, lower_ohm, upper_ohm, nominal_ohm
FROM steadyohm.verdict
WHERE counts AND reference_ohm IS NOT NULL;
COMMENT ON VIEW steadyohm.capability_input IS
    'Values at reference temperature with their limits: what capability and control charts are made of.';
"""

BENCHES = """
CREATE VIEW steadyohm.bench_status AS
SELECT j.bench, j.journal, j.latest, j.kept / 2 AS complete_upto, waiting.stretches AS stretches_behind_gaps
FROM steadyohm.journal j
LEFT JOIN LATERAL (
    SELECT count(*) AS stretches FROM steadyohm.arrival a WHERE a.bench = j.bench AND a.journal = j.journal
) AS waiting ON true;
COMMENT ON VIEW steadyohm.bench_status IS
    'Each journal of each bench: its latest entry, and up to which number nothing is missing.';

CREATE VIEW steadyohm.look_back AS
SELECT utc, bench, meter_id, meter_model, meter_hash, sheet, sheet_hash, batch, serial, step, outcome, counts,
    reference_ohm, reason,
    (SELECT max(c.utc) FROM steadyohm.entry c
     WHERE c.kind = 'check_standard' AND c.bench = v.bench AND c.meter = v.meter_id AND c.utc <= v.utc
        AND (c.payload ->> 'in_control')::boolean) AS last_good_check
FROM steadyohm.verdict v;
COMMENT ON VIEW steadyohm.look_back IS
    'Which units an instrument, sheet or batch has judged, and when its check standard was last in control.';
"""


def views() -> str:
    """Give the statements that make all views; `verdict` has the record's fields and its sentences."""
    own = {"bench", "serial", "batch", "sheet", "outcome"}
    columns = []
    for name, hint in {**get_type_hints(Verdict), **dict.fromkeys(SAID["verdict"], str)}.items():
        kind = next((sql for python, sql in TYPES.items() if _is(hint, python)), "text")
        taken = name if name in own else f"(payload ->> '{name}')::{kind} AS {name}"
        columns.append(taken)
    listed = ",\n    ".join(columns)
    verdict = (
        "CREATE VIEW steadyohm.verdict AS\nSELECT journal || '-' || seq AS id, journal, seq, utc,\n    "
        f"{listed}\nFROM steadyohm.entry WHERE kind = 'verdict';\n"
        "COMMENT ON VIEW steadyohm.verdict IS 'Verdicts with the columns of the CSV.';\n"
    )
    return verdict + YIELD + CAPABILITY + BENCHES


NAMES = ("look_back", "bench_status", "capability_input", "yield_of_steps", "yield", "unit", "verdict")
"""In the order in which they can be dropped."""


def _is(hint: object, python: type) -> bool:
    """Whether a field holds this type, or nothing."""
    return hint in (python, python | None)


AHEAD = 2
"""Months for which partitions are made ahead: this one and the next."""

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
        await connection.execute(step.sql.encode())
        note = "INSERT INTO steadyohm.migration (number, name) VALUES (%s, %s)"
        await connection.execute(note, (number, step.name))
    if steps:
        await connection.execute(views().encode())
        await connection.execute(GRANTS.encode())
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
    """First days of this month and of those that come next."""
    day = datetime.fromtimestamp(now_utc_s, UTC).date().replace(day=1)
    months = {day}
    while len(months) < AHEAD:
        day = next_month(day)
        months.add(day)
    return months


def next_month(day: date) -> date:
    """First day of the month after."""
    return date(day.year + day.month // 12, day.month % 12 + 1, 1)
