"""The line's tables in PostgreSQL as numbered steps; a step that was released is never edited.

Everything lies in one schema, `steadyohm`. Entries and evidence are partitioned by month of their time. Not
for running the steps (migrating), nor for the views (views).
"""

from __future__ import annotations

from dataclasses import dataclass


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
