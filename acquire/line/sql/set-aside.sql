-- jsonb spells numbers out: beyond a double they have 309 digits, or 323 zeros behind the point.
WITH gone AS (
    DELETE FROM steadyohm.entry WHERE payload::text ~ '\d{255}\d{54}|0\.0{255}0{68}'
    RETURNING bench, kind, payload
)
INSERT INTO steadyohm.rejected (digest, topic, reason, payload)
SELECT sha256(convert_to(bench || kind || payload::text, 'UTF8')), bench || '/' || kind,
       'A number in it is beyond all measure.', substr(convert_to(payload::text, 'UTF8'), 1, 4096)
FROM gone ON CONFLICT DO NOTHING
