"""The application's role sees its own login and those of its teams; what belongs to a login alone, that login sees.

Before a login is known, its name or the digest of a mailed link is looked up by functions of the owner, which return
ids. The worker, which mails links and deletes what is old, sees all logins: it may list all teams anyway.
"""

from django.db import migrations, models

ME, WORKER = "(SELECT leafspan_login())", "(SELECT leafspan_is_worker())"
_OWN = [f"FOR ALL USING (user_id = {ME} OR {WORKER})"]
POLICIES = {
    "teams_user": [
        f"FOR ALL USING (id = {ME})",
        f"FOR SELECT USING ({WORKER})",
        "FOR SELECT USING (id IN (SELECT user_id FROM teams_member))",  # of the teams acted for
    ],
    "teams_knownplace": _OWN,
    "teams_resetlink": _OWN,
    "teams_emailverification": _OWN,
    # whatever name somebody typed: anybody asks, the worker reads
    "teams_resetrequest": ["FOR INSERT WITH CHECK (true)", f"FOR ALL USING ({WORKER})"],
}

FUNCTIONS = """
    CREATE FUNCTION leafspan_login() RETURNS uuid LANGUAGE sql STABLE PARALLEL SAFE AS
        $$ SELECT nullif(current_setting('leafspan.login', true), '')::uuid $$;
    CREATE FUNCTION leafspan_is_worker() RETURNS boolean LANGUAGE sql STABLE PARALLEL SAFE AS
        $$ SELECT has_function_privilege('public.leafspan_every_team()', 'EXECUTE') $$;
    CREATE FUNCTION leafspan_login_named(username text) RETURNS uuid
        LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
        SELECT id FROM teams_user AS one WHERE upper(one.username) = upper($1)
            ORDER BY lower(one.username) = lower($1) DESC, id LIMIT 1 $$;
    CREATE FUNCTION leafspan_login_of_reset_link(digest text) RETURNS uuid
        LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
        SELECT user_id FROM teams_resetlink AS one WHERE one.digest = $1 $$;
"""
NO_FUNCTIONS = """
    DROP FUNCTION leafspan_login_of_reset_link(text);
    DROP FUNCTION leafspan_login_named(text);
    DROP FUNCTION leafspan_is_worker();
    DROP FUNCTION leafspan_login();
"""


def add_policies(table: str) -> str:
    """Return the statements that put a table under its policies."""
    made = [f"CREATE POLICY {table}_of_login_{n} ON {table} {rule};" for n, rule in enumerate(POLICIES[table], start=1)]
    return "\n".join([*made, f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY;"])


def remove_policies(table: str) -> str:
    """Return the statements that undo it."""
    gone = [f"DROP POLICY {table}_of_login_{n} ON {table};" for n in range(1, len(POLICIES[table]) + 1)]
    return "\n".join([f"ALTER TABLE {table} DISABLE ROW LEVEL SECURITY;", *gone])


class Migration(migrations.Migration):
    dependencies = [("teams", "0014_session_policy"), ("tastings", "0011_walls")]
    operations = [
        migrations.RunSQL(FUNCTIONS, NO_FUNCTIONS),
        # a default of the database is read back from the new row, which its policy does not show
        migrations.AlterField("resetrequest", "language", models.CharField(default="", max_length=8)),
        *(migrations.RunSQL(add_policies(table), remove_policies(table)) for table in POLICIES),
    ]
