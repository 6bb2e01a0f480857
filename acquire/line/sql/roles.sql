-- Roles of the line's database. Run once as an administrator, in the line's own database:
--     psql --dbname=steadyohm --file=roles.sql
-- Then give logins to people and programs, for example:
--     CREATE ROLE collector_1 LOGIN IN ROLE steadyohm_collector;   and   \password collector_1
--     CREATE ROLE office LOGIN IN ROLE steadyohm_reader;           and   \password office
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
