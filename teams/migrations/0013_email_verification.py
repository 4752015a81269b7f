"""Addresses are verified by a mailed link; those that are there count as not verified."""

import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("teams", "0012_usual_pot")]

    operations = [
        migrations.AddField(model_name="user", name="email_verified_at", field=models.DateTimeField(null=True)),
        migrations.CreateModel(
            name="EmailVerification",
            fields=[
                ("id", models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ("email", models.EmailField(blank=True, max_length=254)),
                ("former", models.EmailField(blank=True, max_length=254)),
                ("site", models.CharField(max_length=200)),
                ("language", models.CharField(max_length=8)),
                ("created_at", models.DateTimeField(db_index=True)),
                ("claimed_at", models.DateTimeField(null=True)),
                ("handled_at", models.DateTimeField(null=True)),
                (
                    "user",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
    ]
