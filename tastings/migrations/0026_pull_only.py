"""Photos and flights have revisions, so that phones pull them; see `teams.migrations.0017_pull_only`.

The photos that are there get theirs in the next migration, in small steps.
"""

from importlib import import_module

from django.db import migrations, models

pull_only = import_module("teams.migrations.0017_pull_only")
COLUMNS = {
    "tastings_photo": ("content_id", "reason", "removed_at"),
    # cups are made with a plan: `plan_made` tells of them
    "tastings_flight": (
        "name", "state", "protocol", "infusions", "remarks", "reference_id", "plan_made",
        "revealed_at", "revealed_by_id", "reveal_reason",
    ),
}  # fmt: skip
"""By table, the columns that phones pull and that can change."""

# Photos by others of a session or sample come and go with it, which a taster limited to their own rows may decide.
FUNCTION = """
    CREATE FUNCTION leafspan_renew_photos(team uuid, parents uuid[]) RETURNS void
        LANGUAGE sql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
        UPDATE tastings_photo AS photo SET revision = photo.revision + 1
            WHERE photo.team_id = $1 AND (photo.session_id = ANY($2) OR photo.lot_id = ANY($2)) $$;
"""


class Migration(migrations.Migration):
    dependencies = [("tastings", "0025_infusion_number_by_team"), ("teams", "0017_pull_only")]

    operations = [
        migrations.AddField("photo", "revision", models.BigIntegerField(default=0, editable=False)),
        migrations.AddField("flight", "revision", models.BigIntegerField(default=0, editable=False)),
        *(
            migrations.RunSQL(pull_only.follow(table, columns), pull_only.forget(table))
            for table, columns in COLUMNS.items()
        ),
        migrations.RunSQL(pull_only.number("tastings_flight"), migrations.RunSQL.noop),
        migrations.AddConstraint(
            "flight", models.UniqueConstraint(fields=("team", "revision"), name="flight_revision_once")
        ),
        migrations.RunSQL(FUNCTION, "DROP FUNCTION leafspan_renew_photos(uuid, uuid[]);"),
    ]
