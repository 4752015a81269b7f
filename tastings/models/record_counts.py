"""How many records each member has made: what a push compares with the quotas."""

import uuid

from django.db import models
from django.db.models import Q

from teams.models import Team, User


class RecordCount(models.Model):
    """The records of one author in one team. Deleted ones count until they are forgotten."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    team = models.ForeignKey(Team, on_delete=models.CASCADE, related_name="+", db_index=False)
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="+", db_index=False)
    notes = models.BigIntegerField(default=0)
    records = models.BigIntegerField(default=0)
    """Lots, sessions, infusions, descriptors and whatever else is synced beside notes."""

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["team", "user"], name="record_count_once"),
            models.CheckConstraint(condition=Q(notes__gte=0, records__gte=0), name="record_count_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.user_id}: {self.notes} notes, {self.records} other records"
