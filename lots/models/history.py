"""Values that lost to another edit of the same field: nothing that anyone wrote is thrown away."""

import json
from uuid import UUID, uuid5

from django.db import models

from lots.merge import LostValue
from teams.models import Team, User

_NAMESPACE = UUID("6f3c1c5e-8d1c-5c59-9a6e-2b7f0c3d9e41")


class FieldHistory(models.Model):
    """One value that is not, or no longer, current: what, when, from which device, by whom."""

    id = models.UUIDField(primary_key=True, editable=False)
    team = models.ForeignKey(Team, on_delete=models.PROTECT, related_name="+", db_index=False)
    type = models.CharField(max_length=12)
    record = models.UUIDField()
    field = models.CharField(max_length=40)
    value = models.JSONField(null=True)
    at = models.DateTimeField()
    claimed_at = models.CharField(max_length=32, blank=True)
    device = models.UUIDField()
    by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", db_index=False)

    class Meta:
        indexes = [models.Index(fields=["team", "record", "at"], name="history_of_record")]

    def __str__(self) -> str:
        return f"{self.field} of {self.record}"

    @staticmethod
    def history_id(record: UUID, lost: LostValue) -> UUID:
        """Return the id of this lost value's row, always the same, so that a value received twice has one row."""
        stamp = lost.stamp
        return uuid5(_NAMESPACE, json.dumps([str(record), lost.field, stamp.reported_at, stamp.device, lost.value]))
