"""Two models get plain names; their tables keep theirs."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("teams", "0008_audit_events")]

    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.RenameModel("Tally", "AttemptCount"),
                migrations.AlterModelTable("AttemptCount", "teams_tally"),
                migrations.RenameModel("KnownPlace", "KnownClient"),
                migrations.AlterModelTable("KnownClient", "teams_knownplace"),
            ]
        )
    ]
