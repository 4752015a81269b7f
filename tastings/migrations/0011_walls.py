"""Row-level security: the application's role sees and writes the rows of the teams its transaction acts for.

The tables' owner is not bound by it (no FORCE), so that migrations and backups see everything. Rights are granted after
every migration, by `teams.rights`, since they name a role that each server may call otherwise.

The setting is read in a sub-select, which is evaluated once per statement: indexes over the team stay in use.
"""

from django.db import migrations

OF_A_TEAM = (
    "teams_shop",
    "teams_member",
    "teams_invitation",
    "lots_lot",
    "lots_fieldhistory",
    "tastings_session",
    "tastings_infusion",
    "tastings_note",
    "tastings_development",
    "tastings_teampanel",
    "tastings_triangletest",
    "tastings_photocontent",
    "tastings_photo",
    "tastings_flight",
    "tastings_flightlot",
    "tastings_flightmember",
    "tastings_flightcup",
    "tastings_share",
    "tastings_paper",
)
TEAMS = "ANY ((SELECT leafspan_teams())::uuid[])"
WALLS = {
    **{table: [f"FOR ALL USING (team_id = {TEAMS})"] for table in OF_A_TEAM},
    "teams_team": [f"FOR ALL USING (id = {TEAMS})"],
    # children without a team of their own: whose parent is seen
    "teams_devicetoken": [
        "FOR ALL USING (EXISTS (SELECT FROM teams_member AS parent WHERE parent.id = teams_devicetoken.member_id))"
    ],
    "tastings_trial": [
        "FOR ALL USING (EXISTS (SELECT FROM tastings_triangletest AS parent WHERE parent.id = tastings_trial.test_id))"
    ],
    # built-in words are no team's: all read them, none writes them
    "tastings_descriptor": [f"FOR ALL USING (team_id = {TEAMS})", "FOR SELECT USING (team_id IS NULL)"],
    # a failed sign-in that named nobody's login is no team's: it can be noted, and nobody reads it
    "teams_auditentry": [f"FOR ALL USING (team_id = {TEAMS})", "FOR INSERT WITH CHECK (team_id IS NULL)"],
}

FUNCTIONS = """
    CREATE FUNCTION leafspan_teams() RETURNS uuid[] LANGUAGE sql STABLE PARALLEL SAFE AS
        $$ SELECT string_to_array(current_setting('leafspan.teams', true), ',')::uuid[] $$;

    -- What is asked before a team is known. Each runs as the owner, past the walls, and returns ids alone.

    CREATE FUNCTION leafspan_team_of(kind text, id uuid) RETURNS uuid
        LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
        SELECT CASE $1
            WHEN 'lot' THEN (SELECT team_id FROM lots_lot AS held WHERE held.id = $2)
            WHEN 'photo' THEN (SELECT team_id FROM tastings_photo AS held WHERE held.id = $2)
            WHEN 'paper' THEN (SELECT team_id FROM tastings_paper AS held WHERE held.id = $2)
            WHEN 'flight' THEN (SELECT team_id FROM tastings_flight AS held WHERE held.id = $2)
            WHEN 'share' THEN (SELECT team_id FROM tastings_share AS held WHERE held.id = $2)
        END $$;

    CREATE FUNCTION leafspan_team_of_token(digest text) RETURNS uuid
        LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
        SELECT place.team_id FROM teams_devicetoken AS held JOIN teams_member AS place ON place.id = held.member_id
            WHERE held.digest = $1 $$;

    CREATE FUNCTION leafspan_team_of_invitation(digest text) RETURNS uuid
        LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
        SELECT team_id FROM teams_invitation AS held WHERE held.digest = $1 $$;

    CREATE FUNCTION leafspan_teams_of_login(login uuid) RETURNS SETOF uuid
        LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
        SELECT team_id FROM teams_member AS held WHERE held.user_id = $1 $$;

    CREATE FUNCTION leafspan_every_team() RETURNS SETOF uuid
        LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
        SELECT id FROM teams_team ORDER BY id $$;

    CREATE FUNCTION leafspan_teams_behind(method text) RETURNS SETOF uuid
        LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
        SELECT held.team_id FROM tastings_development AS held
            LEFT JOIN tastings_teampanel AS panel ON panel.team_id = held.team_id
            WHERE held.due_revision > held.computed_revision
                OR held.computed_revision > 0 AND (held.method <> $1 OR held.panel_version < panel.version)
        UNION
        SELECT held.team_id FROM tastings_teampanel AS held
            WHERE held.due_revision > held.computed_revision OR held.computed_revision > 0 AND held.method <> $1
        UNION
        SELECT held.team_id FROM tastings_flight AS held
            WHERE held.plan_wanted > held.plan_made OR held.answer_wanted > held.answer_made
        ORDER BY 1 $$;

    CREATE FUNCTION leafspan_teams_with_photos_to_check() RETURNS SETOF uuid
        LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
        SELECT DISTINCT team_id FROM tastings_photo AS held
            WHERE held.state = 'checking' AND held.removed_at IS NULL ORDER BY 1 $$;

    CREATE FUNCTION leafspan_taken(kinds text[], ids uuid[]) RETURNS TABLE (kind text, id uuid)
        LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
        SELECT asked.kind, asked.id FROM unnest($1, $2) AS asked (kind, id) WHERE CASE asked.kind
            WHEN 'lot' THEN EXISTS (SELECT FROM lots_lot AS held WHERE held.id = asked.id)
            WHEN 'session' THEN EXISTS (SELECT FROM tastings_session AS held WHERE held.id = asked.id)
            WHEN 'infusion' THEN EXISTS (SELECT FROM tastings_infusion AS held WHERE held.id = asked.id)
            WHEN 'note' THEN EXISTS (SELECT FROM tastings_note AS held WHERE held.id = asked.id)
            WHEN 'descriptor' THEN EXISTS (SELECT FROM tastings_descriptor AS held WHERE held.id = asked.id)
            WHEN 'triangle_test' THEN EXISTS (SELECT FROM tastings_triangletest AS held WHERE held.id = asked.id)
            WHEN 'trial' THEN EXISTS (SELECT FROM tastings_trial AS held WHERE held.id = asked.id)
        END $$;

    CREATE FUNCTION leafspan_forget_failures_of_nobody(before timestamptz) RETURNS bigint
        LANGUAGE sql VOLATILE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
        WITH gone AS (DELETE FROM teams_auditentry AS held WHERE held.team_id IS NULL AND held.at < $1 RETURNING 1)
            SELECT count(*) FROM gone $$;

    DO $$
    DECLARE made text;
    BEGIN
        FOR made IN SELECT oid::regprocedure::text FROM pg_proc
            WHERE pronamespace = 'public'::regnamespace AND proname LIKE 'leafspan\\_%' LOOP
            EXECUTE 'REVOKE ALL ON FUNCTION ' || made || ' FROM PUBLIC';
        END LOOP;
    END $$;

    -- The rule that a session stays blind looks at flights, whoever writes and whatever they see.
    ALTER FUNCTION tastings_session_stays_blind() SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp;
"""
NO_FUNCTIONS = """
    ALTER FUNCTION tastings_session_stays_blind() SECURITY INVOKER RESET search_path;
    DROP FUNCTION leafspan_forget_failures_of_nobody(timestamptz);
    DROP FUNCTION leafspan_taken(text[], uuid[]);
    DROP FUNCTION leafspan_teams_with_photos_to_check();
    DROP FUNCTION leafspan_teams_behind(text);
    DROP FUNCTION leafspan_every_team();
    DROP FUNCTION leafspan_teams_of_login(uuid);
    DROP FUNCTION leafspan_team_of_invitation(text);
    DROP FUNCTION leafspan_team_of_token(text);
    DROP FUNCTION leafspan_team_of(text, uuid);
    DROP FUNCTION leafspan_teams();
"""


def put_up(table: str) -> str:
    """Return the statements that put a table behind a wall."""
    policies = [f"CREATE POLICY {table}_wall_{n} ON {table} {rule};" for n, rule in enumerate(WALLS[table], start=1)]
    return "\n".join([*policies, f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY;"])


def take_down(table: str) -> str:
    """Return the statements that undo it."""
    policies = [f"DROP POLICY {table}_wall_{n} ON {table};" for n in range(1, len(WALLS[table]) + 1)]
    return "\n".join([f"ALTER TABLE {table} DISABLE ROW LEVEL SECURITY;", *policies])


class Migration(migrations.Migration):
    dependencies = [
        ("tastings", "0010_merged_words"),
        ("lots", "0002_across_tables"),
        ("teams", "0006_email_index"),
    ]

    operations = [
        migrations.RunSQL(FUNCTIONS, NO_FUNCTIONS),
        *(migrations.RunSQL(put_up(table), take_down(table)) for table in WALLS),
    ]
