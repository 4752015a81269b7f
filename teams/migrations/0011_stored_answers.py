"""Answers of the API that a repeated request gets again, with their policy."""

import uuid

import django.db.models.deletion
from django.db import migrations, models

POLICY = """
    CREATE POLICY teams_storedanswer_wall_1 ON teams_storedanswer FOR ALL USING
        (team_id = ANY ((SELECT leafspan_teams())::uuid[]));
    ALTER TABLE teams_storedanswer ENABLE ROW LEVEL SECURITY;
"""
NO_POLICY = """
    ALTER TABLE teams_storedanswer DISABLE ROW LEVEL SECURITY;
    DROP POLICY teams_storedanswer_wall_1 ON teams_storedanswer;
"""


class Migration(migrations.Migration):
    dependencies = [
        ("teams", "0010_sign_in_codes"),
    ]

    operations = [
        migrations.CreateModel(
            name="StoredAnswer",
            fields=[
                ("id", models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ("key", models.CharField(max_length=255)),
                ("request", models.CharField(max_length=64)),
                ("status", models.PositiveSmallIntegerField(null=True)),
                ("headers", models.JSONField(default=dict)),
                ("body", models.BinaryField(default=b"")),
                ("created_at", models.DateTimeField()),
                (
                    "member",
                    models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name="+", to="teams.member"),
                ),
                (
                    "team",
                    models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name="+", to="teams.team"),
                ),
            ],
            options={
                "indexes": [models.Index(fields=["team", "created_at"], name="stored_answer_of_team")],
                "constraints": [
                    models.UniqueConstraint(fields=("member", "key"), name="stored_answer_key_once"),
                    models.CheckConstraint(
                        condition=models.Q(("status", None), ("status__range", (200, 299)), _connector="OR"),
                        name="stored_answer_done",
                    ),
                ],
            },
        ),
        migrations.RunSQL(POLICY, NO_POLICY),
    ]
