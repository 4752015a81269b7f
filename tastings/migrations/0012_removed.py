"""Old tombstones are found by an index of their own: forgetting them daily must not read every note of every team."""

from django.contrib.postgres.operations import AddIndexConcurrently
from django.db import migrations, models
from django.db.models import Q

TYPES = ("session", "infusion", "note")


class Migration(migrations.Migration):
    """Builds while everyone goes on writing."""

    atomic = False
    dependencies = [("tastings", "0011_walls")]
    operations = [
        AddIndexConcurrently(
            model_name=name,
            index=models.Index(fields=["team", "updated_at"], condition=Q(removed=True), name=f"{name}_removed"),
        )
        for name in TYPES
    ]
