-- SPDX-License-Identifier: Apache-2.0
-- A role that reads the store of postwalk-office and changes nothing. For who administers the server, once:
--
--	psql -d DATABASE -f etc/sql/auditor.sql
--
-- and then, for each person, a login of his own:
--
--	CREATE ROLE LOGIN_NAME LOGIN PASSWORD '...' IN ROLE postwalk_auditor;
--
-- Run again it does no harm. Tables that come later with a newer postwalk-office can be read as well.

\set ON_ERROR_STOP on
BEGIN;
DO $$ BEGIN
	IF to_regnamespace('postwalk') IS NULL THEN
		RAISE EXCEPTION 'this database has no schema postwalk: let postwalk-office make it first';
	END IF;
	IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'postwalk_auditor') THEN
		CREATE ROLE postwalk_auditor NOLOGIN;
	END IF;
	EXECUTE format('GRANT CONNECT ON DATABASE %I TO postwalk_auditor', current_database());
	EXECUTE format('ALTER DEFAULT PRIVILEGES FOR ROLE %I IN SCHEMA postwalk GRANT SELECT ON TABLES'
		' TO postwalk_auditor',
		(SELECT nspowner::regrole FROM pg_namespace WHERE nspname = 'postwalk'));
END $$;
GRANT USAGE ON SCHEMA postwalk TO postwalk_auditor;
GRANT SELECT ON ALL TABLES IN SCHEMA postwalk TO postwalk_auditor;
-- Passwords and tokens are nobody's but the office's, hashed as they are.
REVOKE ALL ON postwalk.account, postwalk.token FROM postwalk_auditor;
COMMIT;
