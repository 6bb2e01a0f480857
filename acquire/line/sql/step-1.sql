-- Entries, evidence, journals and what came in.
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
