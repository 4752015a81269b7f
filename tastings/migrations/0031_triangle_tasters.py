"""Who is to taste in a triangle test, with the policies and keys over team and id."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

TEAMS = "ANY ((SELECT leafspan_teams())::uuid[])"
KEYS = """
    ALTER TABLE tastings_triangletaster
        ADD CONSTRAINT triangle_taster_of_team FOREIGN KEY (team_id, test_id)
            REFERENCES tastings_triangletest (team_id, id) DEFERRABLE INITIALLY DEFERRED,
        ADD CONSTRAINT triangle_taster_is_member FOREIGN KEY (team_id, user_id)
            REFERENCES teams_member (team_id, user_id) DEFERRABLE INITIALLY DEFERRED;
"""
NO_KEYS = """
    ALTER TABLE tastings_triangletaster
        DROP CONSTRAINT triangle_taster_is_member, DROP CONSTRAINT triangle_taster_of_team;
"""
ME = "(SELECT leafspan_limited_to())"
OWN = (
    f"{ME} IS NULL OR EXISTS (SELECT FROM tastings_triangletest AS parent"
    f" WHERE parent.id = tastings_triangletaster.test_id AND parent.by_id = {ME})"
)
POLICIES = f"""
    CREATE POLICY tastings_triangletaster_wall_1 ON tastings_triangletaster FOR ALL USING (team_id = {TEAMS});
    CREATE POLICY tastings_triangletaster_own_insert ON tastings_triangletaster AS RESTRICTIVE
        FOR INSERT WITH CHECK ({OWN});
    CREATE POLICY tastings_triangletaster_own_update ON tastings_triangletaster AS RESTRICTIVE
        FOR UPDATE USING ({OWN}) WITH CHECK ({OWN});
    CREATE POLICY tastings_triangletaster_own_delete ON tastings_triangletaster AS RESTRICTIVE
        FOR DELETE USING ({OWN});
    ALTER TABLE tastings_triangletaster ENABLE ROW LEVEL SECURITY;
"""
NO_POLICIES = """
    ALTER TABLE tastings_triangletaster DISABLE ROW LEVEL SECURITY;
    DROP POLICY tastings_triangletaster_own_delete ON tastings_triangletaster;
    DROP POLICY tastings_triangletaster_own_update ON tastings_triangletaster;
    DROP POLICY tastings_triangletaster_own_insert ON tastings_triangletaster;
    DROP POLICY tastings_triangletaster_wall_1 ON tastings_triangletaster;
"""


class Migration(migrations.Migration):
    dependencies = [
        ("tastings", "0030_photos_to_check_here"),
        ("teams", "0019_cells"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddConstraint(
            model_name="triangletest",
            constraint=models.UniqueConstraint(fields=("team", "id"), name="triangle_test_of_team"),
        ),
        migrations.CreateModel(
            name="TriangleTaster",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("answers", models.SmallIntegerField()),
                (
                    "team",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="teams.team",
                    ),
                ),
                (
                    "test",
                    models.ForeignKey(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="tasters",
                        to="tastings.triangletest",
                    ),
                ),
                (
                    "user",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
        ),
        migrations.AddConstraint(
            model_name="triangletaster",
            constraint=models.UniqueConstraint(fields=("team", "test", "user"), name="triangle_taster_once"),
        ),
        migrations.AddConstraint(
            model_name="triangletaster",
            constraint=models.CheckConstraint(
                condition=models.Q(("answers__gte", 1), ("answers__lte", 100)), name="triangle_taster_answers"
            ),
        ),
        migrations.RunSQL(KEYS, NO_KEYS),
        migrations.RunSQL(POLICIES, NO_POLICIES),
    ]
