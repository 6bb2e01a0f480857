"""Who may do what in the line's database, as SQL: one owner, collectors that write, readers that read.

Not for logins and passwords: those are the database administrator's.
"""

from __future__ import annotations

ROLES = """\
-- Roles of the line's database. Run once as an administrator, in the line's own database:
--     psql --dbname=steadyohm --file=roles.sql
-- Then give logins to people and programs, for example:
--     CREATE ROLE collector_1 LOGIN IN ROLE steadyohm_collector;   and   \\password collector_1
--     CREATE ROLE office LOGIN IN ROLE steadyohm_reader;           and   \\password office
--     CREATE ROLE line_admin LOGIN IN ROLE steadyohm_owner;        for `steadyohm collect --migrate`
DO $$
DECLARE
    wanted text;
BEGIN
    FOREACH wanted IN ARRAY ARRAY['steadyohm_owner', 'steadyohm_collector', 'steadyohm_reader'] LOOP
        IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = wanted) THEN
            EXECUTE format('CREATE ROLE %I NOLOGIN', wanted);
        END IF;
    END LOOP;
    EXECUTE format('REVOKE ALL ON DATABASE %I FROM PUBLIC', current_database());
    EXECUTE format('GRANT CONNECT ON DATABASE %I TO steadyohm_owner, steadyohm_collector, steadyohm_reader',
        current_database());
    EXECUTE format('GRANT TEMPORARY ON DATABASE %I TO steadyohm_owner, steadyohm_collector',
        current_database());
END $$;
REVOKE CREATE ON SCHEMA public FROM PUBLIC;
CREATE SCHEMA IF NOT EXISTS steadyohm AUTHORIZATION steadyohm_owner;
GRANT USAGE ON SCHEMA steadyohm TO steadyohm_collector, steadyohm_reader;
"""

GRANTS = """
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
"""
"""What the owner gives away after each migration, where the roles are there."""
