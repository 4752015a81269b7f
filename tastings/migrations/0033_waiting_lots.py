"""A team's next waiting lot, and the number of its lots with a job, are found without looking at its other lots."""

from django.contrib.postgres.operations import AddIndexConcurrently, RemoveIndexConcurrently
from django.db import migrations, models


class Migration(migrations.Migration):
    atomic = False  # as building and dropping an index without a lock on its table asks

    dependencies = [("tastings", "0032_order_slopes")]

    operations = [
        AddIndexConcurrently(
            "development",
            models.Index(
                fields=["team", "due_revision"],
                condition=models.Q(due_revision__gt=models.F("computed_revision")),
                name="development_edited",
            ),
        ),
        AddIndexConcurrently(
            "development",
            models.Index(
                fields=["team", "asked_at"], condition=models.Q(asked_at__isnull=False), name="development_asked"
            ),
        ),
        RemoveIndexConcurrently("development", "development_due"),
    ]
