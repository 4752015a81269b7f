"""Pots: a record type; a session names the pot it was brewed in, a shop its usual one.

The session's key is checked against the rows that are there by the next migration. `leafspan_taken` takes all ids of
records, photos and flights as one space: a phone keeps them in one table.
"""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

TEAMS = "ANY ((SELECT leafspan_teams())::uuid[])"
KEYS = f"""
    ALTER TABLE tastings_pot ADD CONSTRAINT pot_shop_of_team FOREIGN KEY (team_id, shop_id)
        REFERENCES teams_shop (team_id, id) DEFERRABLE INITIALLY DEFERRED;
    ALTER TABLE teams_shop ADD CONSTRAINT shop_usual_pot_of_team FOREIGN KEY (team_id, usual_pot)
        REFERENCES tastings_pot (team_id, id) DEFERRABLE INITIALLY DEFERRED;
    ALTER TABLE tastings_session ADD CONSTRAINT session_pot_of_team FOREIGN KEY (team_id, pot_id)
        REFERENCES tastings_pot (team_id, id) DEFERRABLE INITIALLY DEFERRED NOT VALID;
    CREATE POLICY tastings_pot_wall_1 ON tastings_pot FOR ALL USING (team_id = {TEAMS});
    ALTER TABLE tastings_pot ENABLE ROW LEVEL SECURITY;
"""
NO_KEYS = """
    ALTER TABLE tastings_pot DISABLE ROW LEVEL SECURITY;
    DROP POLICY tastings_pot_wall_1 ON tastings_pot;
    ALTER TABLE tastings_session DROP CONSTRAINT session_pot_of_team;
    ALTER TABLE teams_shop DROP CONSTRAINT shop_usual_pot_of_team;
    ALTER TABLE tastings_pot DROP CONSTRAINT pot_shop_of_team;
"""
ONE_SPACE = ("lots_lot", "tastings_descriptor", "tastings_pot", "tastings_session", "tastings_infusion",
    "tastings_note", "tastings_photo", "tastings_flight")  # fmt: skip


def taken(one_space: tuple[str, ...], others: dict[str, str]) -> str:
    """Return the statement that makes `leafspan_taken`."""
    anywhere = " OR ".join(f"EXISTS (SELECT FROM {table} AS row WHERE row.id = asked.id)" for table in one_space)
    alone = "".join(
        f" WHEN '{kind}' THEN EXISTS (SELECT FROM {table} AS row WHERE row.id = asked.id)"
        for kind, table in others.items()
    )
    return f"""
        CREATE OR REPLACE FUNCTION leafspan_taken(kinds text[], ids uuid[]) RETURNS TABLE (kind text, id uuid)
            LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
            SELECT asked.kind, asked.id FROM unnest($1, $2) AS asked (kind, id)
                WHERE CASE asked.kind{alone} ELSE {anywhere} END $$;
    """  # noqa: S608 - the tables' names are our own


TESTS = {"triangle_test": "tastings_triangletest", "trial": "tastings_trial"}
BEFORE = {"lot": "lots_lot"} | {name: f"tastings_{name}" for name in ("session", "infusion", "note", "descriptor")}


class Migration(migrations.Migration):
    dependencies = [
        ("tastings", "0018_share_kept_by"),
        ("teams", "0012_usual_pot"),
        ("lots", "0002_across_tables"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="Pot",
            fields=[
                ("id", models.UUIDField(editable=False, primary_key=True, serialize=False)),
                ("revision", models.BigIntegerField()),
                ("removed", models.BooleanField(default=False)),
                ("stamps", models.JSONField(default=list)),
                ("created_at", models.DateTimeField()),
                ("updated_at", models.DateTimeField()),
                ("name", models.CharField(max_length=80)),
                ("vessel_ml", models.FloatField()),
                ("vessel_material", models.CharField(max_length=20)),
                ("vessel_g", models.FloatField(null=True)),
                ("leaf_g", models.FloatField(null=True)),
                ("pour_s", models.FloatField(null=True)),
                ("retired", models.BooleanField(default=False)),
                (
                    "author",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "by",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "shop",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="teams.shop",
                    ),
                ),
                (
                    "team",
                    models.ForeignKey(
                        db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name="+", to="teams.team"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("team", "revision"), name="pot_revision_once"),
                    models.UniqueConstraint(fields=("team", "id"), name="pot_of_team"),
                    models.CheckConstraint(condition=models.Q(("name", ""), _negated=True), name="pot_name_given"),
                    models.CheckConstraint(
                        condition=models.Q(("vessel_ml__gt", 0), ("vessel_ml__lte", 10000)), name="pot_vessel_ml_range"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "vessel_material__in",
                                ["porcelain", "unglazed_clay", "glazed_stoneware", "glass", "silver", "cast_iron"],
                            )
                        ),
                        name="pot_vessel_material_choice",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("vessel_g__gt", 0), ("vessel_g__lte", 20000)), name="pot_vessel_g_range"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("leaf_g__gt", 0), ("leaf_g__lte", 1000)), name="pot_leaf_g_range"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("pour_s__gte", 0), ("pour_s__lte", 3600)), name="pot_pour_s_range"
                    ),
                ],
            },
        ),
        migrations.AddField(
            model_name="session",
            name="pot",
            field=models.ForeignKey(
                db_constraint=False,
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="tastings.pot",
            ),
        ),
        migrations.RunSQL(KEYS, NO_KEYS),
        migrations.RunSQL(taken(ONE_SPACE, TESTS), taken(("tastings_session",), TESTS | BEFORE)),
    ]
