"""Checks the sessions that are there against their key to pots, while everyone goes on writing."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("tastings", "0019_pots")]

    operations = [
        migrations.RunSQL(
            "ALTER TABLE tastings_session VALIDATE CONSTRAINT session_pot_of_team", migrations.RunSQL.noop
        )
    ]
