"""Gives the photos that are there their revisions, a few hundred at a time, each step committed."""

from django.db import migrations, models

NUMBER = """
    DO $$
    DECLARE
        last uuid := '00000000-0000-0000-0000-000000000000';
    BEGIN
        LOOP
            WITH batch AS (SELECT id FROM tastings_photo WHERE id > last ORDER BY id LIMIT 500),
            numbered AS (
                UPDATE tastings_photo AS photo SET revision = 1
                FROM batch WHERE photo.id = batch.id AND photo.revision = 0)
            SELECT (SELECT id FROM batch ORDER BY id DESC LIMIT 1) INTO last;
            EXIT WHEN last IS NULL;
            COMMIT;
        END LOOP;
    END $$
"""
ONCE = (
    "CREATE UNIQUE INDEX CONCURRENTLY photo_revision_once ON tastings_photo (team_id, revision)",
    "ALTER TABLE tastings_photo ADD CONSTRAINT photo_revision_once UNIQUE USING INDEX photo_revision_once",
)


class Migration(migrations.Migration):
    """Each statement is a transaction."""

    atomic = False
    dependencies = [("tastings", "0026_pull_only")]

    operations = [
        migrations.RunSQL(NUMBER, migrations.RunSQL.noop),
        migrations.RunSQL(
            ONCE,
            "ALTER TABLE tastings_photo DROP CONSTRAINT photo_revision_once",
            state_operations=[
                migrations.AddConstraint(
                    "photo", models.UniqueConstraint(fields=("team", "revision"), name="photo_revision_once")
                )
            ],
        ),
    ]
