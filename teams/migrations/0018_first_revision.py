"""Counters of new teams begin at random numbers, so that a cursor tells whose it is; those that are there go on."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("teams", "0017_pull_only")]
    operations = [migrations.AddField("team", "first_revision", models.BigIntegerField(default=0))]
