"""Teams that live in another installation (a cell), and what refuses to act for them here.

`leafspan_at_home` is called where a transaction says for which teams it acts. It holds a shared lock on each team until
the transaction ends; whoever moves a team takes the lock alone, so nothing is written while the last rows are copied.
For one team it fails, with a state of its own (class 57, operator intervention) and the other cell's name in the
detail; of several it returns those that are here.
"""

from django.db import migrations, models

at_home = """
    CREATE FUNCTION leafspan_at_home(teams text) RETURNS text
        LANGUAGE plpgsql VOLATILE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
        DECLARE
            asked uuid[] := string_to_array(teams, ',')::uuid[];
            here uuid[] := '{}';
            one uuid;
            place text;
        BEGIN
            FOREACH one IN ARRAY asked LOOP
                IF NOT pg_try_advisory_xact_lock_shared(hashtextextended('leafspan.move ' || one, 0)) THEN
                    IF cardinality(asked) = 1 THEN
                        RAISE EXCEPTION 'the team is being moved' USING ERRCODE = '57L01';
                    END IF;
                    CONTINUE;
                END IF;
                SELECT cell INTO place FROM teams_movedteam WHERE team_id = one;
                IF NOT FOUND THEN
                    here := here || one;
                ELSIF cardinality(asked) = 1 THEN
                    RAISE EXCEPTION 'the team lives in another cell' USING ERRCODE = '57L02', DETAIL = place;
                END IF;
            END LOOP;
            RETURN array_to_string(here, ',');
        END $$;
"""

login_is_here = """
    CREATE FUNCTION leafspan_login_is_here(login uuid) RETURNS boolean
        LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
        SELECT EXISTS (SELECT FROM teams_member AS one WHERE one.user_id = $1 AND one.left_at IS NULL
            AND NOT EXISTS (SELECT FROM teams_movedteam AS moved WHERE moved.team_id = one.team_id)) $$;
"""

LISTS = {
    "leafspan_every_team() RETURNS SETOF uuid": """
        SELECT id FROM teams_team AS one {here.id} ORDER BY id""",
    "leafspan_teams_behind(method text) RETURNS SETOF uuid": """
        SELECT one.team_id FROM (
            SELECT figures.team_id FROM tastings_development AS figures
                LEFT JOIN tastings_teampanel AS panel ON panel.team_id = figures.team_id
                WHERE figures.due_revision > figures.computed_revision OR figures.computed_revision > 0
                    AND (figures.method <> $1 OR figures.panel_version < panel.version)
            UNION
            SELECT panel.team_id FROM tastings_teampanel AS panel WHERE panel.due_revision > panel.computed_revision
                OR panel.computed_revision > 0 AND panel.method <> $1
            UNION
            SELECT flight.team_id FROM tastings_flight AS flight
                WHERE flight.plan_wanted > flight.plan_made OR flight.answer_wanted > flight.answer_made
        ) AS one {here.team_id} ORDER BY 1""",
    "leafspan_teams_with_photos_to_check() RETURNS SETOF uuid": """
        SELECT DISTINCT one.team_id FROM (SELECT team_id FROM tastings_photo
            WHERE state = 'checking' AND removed_at IS NULL) AS one {here.team_id} ORDER BY 1""",
}
"""What the worker goes through, with the condition that leaves out the teams of other cells."""

next_revision = """
    CREATE OR REPLACE FUNCTION leafspan_next_revision() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN{copying}
        UPDATE teams_team SET revision = revision + 1 WHERE id = NEW.team_id RETURNING revision INTO NEW.revision;
        RETURN NEW;
    END $$;
"""
COPYING = """
        IF current_setting('leafspan.copying', true) = 'on'
            AND current_user = (SELECT pg_get_userbyid(relowner) FROM pg_class WHERE oid = TG_RELID) THEN
            RETURN NEW;
        END IF;"""
"""The owner, who moves a team, keeps the revisions that its rows have."""


class _Here:
    id = "WHERE NOT EXISTS (SELECT FROM teams_movedteam AS moved WHERE moved.team_id = one.id)"
    team_id = "WHERE NOT EXISTS (SELECT FROM teams_movedteam AS moved WHERE moved.team_id = one.team_id)"


class _Everywhere:
    id = team_id = ""


def lists(here: type[_Here] | type[_Everywhere]) -> str:
    """Return the statements that define the lists anew; the rights of the functions stay."""
    return "\n".join(
        f"CREATE OR REPLACE FUNCTION {head} LANGUAGE sql STABLE SECURITY DEFINER"
        f" SET search_path = pg_catalog, public, pg_temp AS $${body.format(here=here)} $$;"
        for head, body in LISTS.items()
    )


class Migration(migrations.Migration):
    dependencies = [("teams", "0018_first_revision"), ("tastings", "0028_ids_in_use")]

    operations = [
        migrations.CreateModel(
            "MovedTeam",
            [
                ("team", models.UUIDField(primary_key=True, serialize=False, db_column="team_id")),
                ("cell", models.CharField(max_length=40)),
                ("since", models.DateTimeField(auto_now_add=True)),
            ],
        ),
        # nobody but the owner, and so the functions, reads it
        migrations.RunSQL(
            "ALTER TABLE teams_movedteam ENABLE ROW LEVEL SECURITY;"
            "CREATE POLICY teams_movedteam_of_owner ON teams_movedteam FOR ALL USING (false);",
            "DROP POLICY teams_movedteam_of_owner ON teams_movedteam;",
        ),
        migrations.RunSQL(
            f"{at_home} {login_is_here}"
            " REVOKE ALL ON FUNCTION leafspan_at_home(text), leafspan_login_is_here(uuid) FROM PUBLIC;",
            "DROP FUNCTION leafspan_login_is_here(uuid); DROP FUNCTION leafspan_at_home(text);",
        ),
        migrations.RunSQL(lists(_Here), lists(_Everywhere)),
        migrations.RunSQL(next_revision.format(copying=COPYING), next_revision.format(copying="")),
    ]
