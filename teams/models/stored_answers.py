"""Answers of the API that a repeated request gets again."""

import uuid

from django.db import models
from django.db.models import Q

from teams.models.people import Member, Team


class StoredAnswer(models.Model):
    """The answer to a request with an ``Idempotency-Key``; ``status`` is null while it is being answered.

    ``request`` is the SHA-256 of method, address and body.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    team = models.ForeignKey(Team, on_delete=models.CASCADE, related_name="+")
    member = models.ForeignKey(Member, on_delete=models.CASCADE, related_name="+")
    key = models.CharField(max_length=255)
    request = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(null=True)
    headers = models.JSONField(default=dict)
    body = models.BinaryField(default=b"")
    created_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["member", "key"], name="stored_answer_key_once"),
            models.CheckConstraint(condition=Q(status=None) | Q(status__range=(200, 299)), name="stored_answer_done"),
        ]
        indexes = [models.Index(fields=["team", "created_at"], name="stored_answer_of_team")]

    def __str__(self) -> str:
        return f"{self.key} of {self.member_id}"
