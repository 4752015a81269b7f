"""The application's role sees the browser session whose key the transaction names, and no other."""

from django.db import migrations

POLICY = """
    CREATE FUNCTION leafspan_session() RETURNS text LANGUAGE sql STABLE PARALLEL SAFE AS
        $$ SELECT current_setting('leafspan.session', true) $$;
    CREATE FUNCTION leafspan_delete_expired_sessions(before timestamptz) RETURNS bigint
        LANGUAGE sql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
        WITH gone AS (DELETE FROM django_session AS one WHERE one.expire_date < $1 RETURNING 1)
        SELECT count(*) FROM gone $$;
    CREATE POLICY django_session_by_key ON django_session
        FOR ALL USING (session_key = (SELECT leafspan_session()));
    ALTER TABLE django_session ENABLE ROW LEVEL SECURITY;
"""
NO_POLICY = """
    ALTER TABLE django_session DISABLE ROW LEVEL SECURITY;
    DROP POLICY django_session_by_key ON django_session;
    DROP FUNCTION leafspan_delete_expired_sessions(timestamptz);
    DROP FUNCTION leafspan_session();
"""


class Migration(migrations.Migration):
    dependencies = [("teams", "0013_email_verification"), ("sessions", "0001_initial")]
    operations = [migrations.RunSQL(POLICY, NO_POLICY)]
