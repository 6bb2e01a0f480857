-- Names of version 2 in what came in version 1; jsonb is spelt with one space behind each colon.
UPDATE steadyohm.entry SET payload = jsonb_set(
    replace(replace(replace(replace(replace(replace(payload::text,
        '"weight": "remark"', '"severity": "info"'),
        '"conformity": ', '"conformance_probability": '),
        '"sort": ', '"result_kind": '),
        '"weight": ', '"severity": '),
        '"ending": "given_up"', '"ending": "early"'),
        '"code": "journal.set_aside"', '"code": "journal.quarantined"')::jsonb,
    '{schema}', '2')
WHERE payload -> 'schema' = '1';
