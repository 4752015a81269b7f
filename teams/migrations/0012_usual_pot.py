"""The pot that a shop's guides and cards are for; the pots' own migration adds its foreign key."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("teams", "0011_stored_answers")]

    operations = [migrations.AddField("shop", "usual_pot", models.UUIDField(null=True))]
