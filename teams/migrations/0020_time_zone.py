"""The time zone in which a team's pages show moments; a server from before, which does not know it, leaves UTC."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("teams", "0019_cells")]
    operations = [
        migrations.AddField("team", "time_zone", models.CharField(default="UTC", db_default="UTC", max_length=64))
    ]
