-- What the owner gives away after each migration, where the roles are there.
DO $$
BEGIN
    IF EXISTS (SELECT FROM pg_roles WHERE rolname = 'steadyohm_collector') THEN
        GRANT USAGE ON SCHEMA steadyohm TO steadyohm_collector;
        GRANT SELECT ON ALL TABLES IN SCHEMA steadyohm TO steadyohm_collector;
        GRANT INSERT ON steadyohm.entry, steadyohm.evidence TO steadyohm_collector;
        GRANT INSERT, DELETE ON steadyohm.arrival, steadyohm.rejected TO steadyohm_collector;
        GRANT INSERT, UPDATE ON steadyohm.journal TO steadyohm_collector;
        GRANT EXECUTE ON FUNCTION steadyohm.make_month TO steadyohm_collector;
    END IF;
    IF EXISTS (SELECT FROM pg_roles WHERE rolname = 'steadyohm_reader') THEN
        GRANT USAGE ON SCHEMA steadyohm TO steadyohm_reader;
        GRANT SELECT ON steadyohm.entry, steadyohm.evidence, steadyohm.journal, steadyohm.arrival,
            steadyohm.rejected, steadyohm.migration TO steadyohm_reader;
        GRANT SELECT ON steadyohm.verdict, steadyohm.unit, steadyohm.yield, steadyohm.yield_of_steps,
            steadyohm.capability_input, steadyohm.bench_status, steadyohm.look_back TO steadyohm_reader;
    END IF;
END $$;
