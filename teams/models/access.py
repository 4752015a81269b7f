"""One-time links into a team, and codes that sign a phone in."""

import uuid

from django.db import models
from django.db.models import Q

from teams.models.people import Member, Role, Shop, Team, User


class Invitation(models.Model):
    """A one-time link into a team. Only the SHA-256 of its token is stored."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    team = models.ForeignKey(Team, on_delete=models.PROTECT, related_name="+")
    shop = models.ForeignKey(Shop, on_delete=models.PROTECT, related_name="+")
    role = models.CharField(max_length=10, choices=Role.choices)
    digest = models.CharField(max_length=64, unique=True)
    by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    used_at = models.DateTimeField(null=True, blank=True)
    used_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(role__in=Role.values), name="invitation_role_known"),
            models.CheckConstraint(
                condition=Q(used_at=None, used_by=None) | Q(used_at__isnull=False, used_by__isnull=False),
                name="invitation_used_by_someone",
            ),
        ]
        indexes = [models.Index(fields=["team", "-created_at"], name="invitation_of_team")]

    def __str__(self) -> str:
        return f"{self.role} of {self.team_id}"


class SignInCode(models.Model):
    """A code that signs one more device of a member in, once. Only its keyed digest is stored."""

    member = models.OneToOneField(Member, on_delete=models.CASCADE, related_name="+", primary_key=True)
    digest = models.CharField(max_length=64, unique=True)
    expires_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"of {self.member_id} until {self.expires_at}"
