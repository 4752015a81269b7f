"""How many records each member has made, counted once from what is there."""

import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

POLICY = """
    CREATE POLICY tastings_recordcount_wall_1 ON tastings_recordcount
        FOR ALL USING (team_id = ANY ((SELECT leafspan_teams())::uuid[]));
    ALTER TABLE tastings_recordcount ENABLE ROW LEVEL SECURITY;
"""
NO_POLICY = """
    ALTER TABLE tastings_recordcount DISABLE ROW LEVEL SECURITY;
    DROP POLICY tastings_recordcount_wall_1 ON tastings_recordcount;
"""
FILL = """
    INSERT INTO tastings_recordcount (id, team_id, user_id, notes, records)
    SELECT gen_random_uuid(), team_id, author_id, sum(notes), sum(records) FROM (
        SELECT team_id, author_id, count(*) AS notes, 0 AS records FROM tastings_note GROUP BY 1, 2
        UNION ALL SELECT team_id, author_id, 0, count(*) FROM tastings_infusion GROUP BY 1, 2
        UNION ALL SELECT team_id, taster_id, 0, count(*) FROM tastings_session GROUP BY 1, 2
        UNION ALL SELECT team_id, author_id, 0, count(*) FROM lots_lot GROUP BY 1, 2
        UNION ALL SELECT team_id, author_id, 0, count(*) FROM tastings_descriptor WHERE team_id IS NOT NULL GROUP BY 1, 2
    ) AS counted GROUP BY 2, 3;
"""


class Migration(migrations.Migration):
    dependencies = [("tastings", "0015_author_filled"), ("teams", "0001_records")]

    operations = [
        migrations.CreateModel(
            name="RecordCount",
            fields=[
                ("id", models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ("notes", models.BigIntegerField(default=0)),
                ("records", models.BigIntegerField(default=0)),
                (
                    "team",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to="teams.team",
                    ),
                ),
                (
                    "user",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("team", "user"), name="record_count_once"),
                    models.CheckConstraint(
                        condition=models.Q(notes__gte=0, records__gte=0), name="record_count_not_negative"
                    ),
                ],
            },
        ),
        migrations.RunSQL(POLICY, NO_POLICY),
        migrations.RunSQL(FILL, migrations.RunSQL.noop),
    ]
