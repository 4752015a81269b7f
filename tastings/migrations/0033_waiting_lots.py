"""A team's next waiting lot, and the number of its lots with a job, are found without looking at its other lots."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("tastings", "0032_order_slopes")]

    operations = [
        migrations.RemoveIndex("development", "development_due"),
        migrations.AddIndex(
            "development",
            models.Index(
                fields=["team", "due_revision"],
                condition=models.Q(due_revision__gt=models.F("computed_revision")),
                name="development_edited",
            ),
        ),
        migrations.AddIndex(
            "development",
            models.Index(
                fields=["team", "asked_at"], condition=models.Q(asked_at__isnull=False), name="development_asked"
            ),
        ),
    ]
