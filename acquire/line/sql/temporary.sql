-- By way of these a batch comes in (store).
CREATE TEMPORARY TABLE IF NOT EXISTS arriving (bench text, journal text, seq bigint, utc timestamptz,
    kind text, serial text, batch text, sheet text, meter text, outcome text, payload jsonb)
    ON COMMIT DELETE ROWS;
CREATE TEMPORARY TABLE IF NOT EXISTS arriving_evidence (bench text, journal text, seq bigint,
    utc timestamptz, evidence json) ON COMMIT DELETE ROWS
