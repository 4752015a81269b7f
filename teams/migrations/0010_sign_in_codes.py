"""Codes that sign a phone in, with their policy and the look-up of a code's team."""

import django.db.models.deletion
from django.db import migrations, models

POLICY = """
    CREATE POLICY teams_signincode_wall_1 ON teams_signincode FOR ALL USING
        (EXISTS (SELECT FROM teams_member AS parent WHERE parent.id = teams_signincode.member_id));
    ALTER TABLE teams_signincode ENABLE ROW LEVEL SECURITY;

    CREATE FUNCTION leafspan_team_of_sign_in_code(digest text) RETURNS uuid
        LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
        SELECT member.team_id FROM teams_signincode AS code JOIN teams_member AS member ON member.id = code.member_id
            WHERE code.digest = $1 $$;
    REVOKE ALL ON FUNCTION leafspan_team_of_sign_in_code(text) FROM PUBLIC;
"""
NO_POLICY = """
    DROP FUNCTION leafspan_team_of_sign_in_code(text);
    ALTER TABLE teams_signincode DISABLE ROW LEVEL SECURITY;
    DROP POLICY teams_signincode_wall_1 ON teams_signincode;
"""


class Migration(migrations.Migration):
    dependencies = [("teams", "0009_plain_names"), ("tastings", "0011_walls")]

    operations = [
        migrations.CreateModel(
            name="SignInCode",
            fields=[
                (
                    "member",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE,
                        primary_key=True,
                        related_name="+",
                        serialize=False,
                        to="teams.member",
                    ),
                ),
                ("digest", models.CharField(max_length=64, unique=True)),
                ("expires_at", models.DateTimeField()),
            ],
        ),
        migrations.RunSQL(POLICY, NO_POLICY),
    ]
