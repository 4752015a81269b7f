"""A team's logo, with its policy; a logo whose check was lost is found as a photo is."""

import django.db.models.deletion
from django.db import migrations, models

TEAMS = "ANY ((SELECT leafspan_teams())::uuid[])"
KEY = """
    ALTER TABLE tastings_teamlogo ADD CONSTRAINT team_logo_picture_of_team FOREIGN KEY (team_id, content_id)
        REFERENCES tastings_photocontent (team_id, id) DEFERRABLE INITIALLY DEFERRED;
"""
NO_KEY = "ALTER TABLE tastings_teamlogo DROP CONSTRAINT team_logo_picture_of_team"
POLICY = f"""
    CREATE POLICY tastings_teamlogo_wall_1 ON tastings_teamlogo FOR ALL USING (team_id = {TEAMS});
    ALTER TABLE tastings_teamlogo ENABLE ROW LEVEL SECURITY;
"""
NO_POLICY = """
    ALTER TABLE tastings_teamlogo DISABLE ROW LEVEL SECURITY;
    DROP POLICY tastings_teamlogo_wall_1 ON tastings_teamlogo;
"""


def to_check(logos: str) -> str:
    """Return the statement that makes `leafspan_teams_with_photos_to_check`."""
    return f"""
        CREATE OR REPLACE FUNCTION leafspan_teams_with_photos_to_check() RETURNS SETOF uuid
            LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
            SELECT team_id FROM tastings_photo WHERE state = 'checking' AND removed_at IS NULL {logos} ORDER BY 1 $$;
    """  # noqa: S608 - our own text


class Migration(migrations.Migration):
    dependencies = [("tastings", "0028_ids_in_use"), ("teams", "0018_first_revision")]

    operations = [
        migrations.CreateModel(
            name="TeamLogo",
            fields=[
                (
                    "team",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        primary_key=True,
                        related_name="+",
                        serialize=False,
                        to="teams.team",
                    ),
                ),
                ("upload", models.UUIDField()),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("receiving", "Receiving"),
                            ("checking", "Checking"),
                            ("kept", "Kept"),
                            ("refused", "Refused"),
                        ],
                        max_length=9,
                    ),
                ),
                ("reason", models.CharField(blank=True, default="", max_length=20)),
                ("sha256", models.CharField(max_length=64)),
                ("bytes", models.IntegerField()),
                ("attempts", models.IntegerField(default=0)),
                ("touched_at", models.DateTimeField()),
                (
                    "content",
                    models.ForeignKey(
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="logos",
                        to="tastings.photocontent",
                    ),
                ),
            ],
        ),
        migrations.AddConstraint(
            model_name="photocontent",
            constraint=models.UniqueConstraint(fields=("team", "id"), name="photo_content_id_of_team"),
        ),
        migrations.RunSQL(KEY, NO_KEY),
        migrations.RunSQL(POLICY, NO_POLICY),
        migrations.RunSQL(
            to_check("UNION SELECT team_id FROM tastings_teamlogo WHERE state = 'checking'"), to_check("GROUP BY 1")
        ),
    ]
