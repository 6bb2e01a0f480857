-- Views over the entries; `verdict` stands before them, made of the record's own fields (migrating).
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
    'Each visit of a unit to a bench once, by its first result, with how it stands at its latest revision.';

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

CREATE VIEW steadyohm.capability_input AS
SELECT bench, sheet, sheet_hash, step, batch, purpose, serial, operator, meter_id, utc, outcome,
    reference_ohm, expanded_ohm, lower_ohm, upper_ohm, nominal_ohm
FROM steadyohm.verdict
WHERE counts AND reference_ohm IS NOT NULL;
COMMENT ON VIEW steadyohm.capability_input IS
    'Values at reference temperature with their limits: what capability and control charts are made of.';

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
