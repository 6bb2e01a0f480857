-- Partitions by month.
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
