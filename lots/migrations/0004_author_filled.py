"""Fills in who made each lot: whoever made the earliest edit of it that is known. From here on everyone has an author.

In steps of a few thousand rows, each committed, so that nobody waits for long.
"""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


def fill(table: str) -> str:
    """Return the statement that fills in the authors of a table."""
    return f"""
        DO $$
        DECLARE
            last uuid := '00000000-0000-0000-0000-000000000000';
        BEGIN
            LOOP
                WITH batch AS (SELECT id FROM {table} WHERE id > last ORDER BY id LIMIT 2000),
                filled AS (
                    UPDATE {table} AS record SET author_id = coalesce(
                        (SELECT edit.by FROM (
                            SELECT (stamp ->> 0)::timestamptz AS at, (stamp ->> 2)::uuid AS by
                                FROM jsonb_array_elements(record.stamps) AS stamp
                            UNION ALL
                            SELECT history.at, history.by_id FROM lots_fieldhistory AS history
                                WHERE history.team_id = record.team_id AND history.record = record.id
                            ) AS edit JOIN teams_user ON teams_user.id = edit.by
                            ORDER BY edit.at LIMIT 1),
                        record.by_id)
                    FROM batch WHERE record.id = batch.id AND record.author_id IS NULL)
                SELECT (SELECT id FROM batch ORDER BY id DESC LIMIT 1) INTO last;
                EXIT WHEN last IS NULL;
                COMMIT;
            END LOOP;
        END $$
    """  # noqa: S608 - the table's name is our own


def require(table: str) -> tuple[str, str]:
    """Return the statements that require an author from now on, and check it of the rows that are there."""
    name = f"{table.partition('_')[2]}_author_given"
    return (
        f"ALTER TABLE {table} ADD CONSTRAINT {name} CHECK (author_id IS NOT NULL) NOT VALID",
        f"ALTER TABLE {table} VALIDATE CONSTRAINT {name}",
    )


def no_longer_require(table: str) -> str:
    """Return the statement that undoes `require`."""
    return f"ALTER TABLE {table} DROP CONSTRAINT {table.partition('_')[2]}_author_given"


class Migration(migrations.Migration):
    """Each statement is a transaction."""

    atomic = False
    dependencies = [("lots", "0003_author"), ("teams", "0001_records")]

    operations = [
        migrations.RunSQL(fill("lots_lot"), migrations.RunSQL.noop),
        migrations.RunSQL(
            require("lots_lot"),
            no_longer_require("lots_lot"),
            state_operations=[
                migrations.AlterField(
                    model_name="lot",
                    name="author",
                    field=models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                )
            ],
        ),
    ]
