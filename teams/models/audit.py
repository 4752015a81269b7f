"""The audit log of a team."""

import uuid

from django.db import models

from teams.models.people import Team, User


class AuditEvent(models.TextChoices):
    """What is recorded of people; `tastings.audit_events` has the rest."""

    SIGN_IN = "sign_in"
    SIGN_IN_CODE = "sign_in_code"
    FAILED_SIGN_IN = "failed_sign_in"
    SIGN_OUT_EVERYWHERE = "sign_out_everywhere"
    INVITATION = "invitation"
    INVITATION_REVOKED = "invitation_revoked"
    JOINED = "joined"
    ROLE_CHANGE = "role_change"
    REMOVAL = "removal"
    PASSWORD_CHANGE = "password_change"  # noqa: S105 - the name of an event
    PASSWORD_RESET = "password_reset"  # noqa: S105 - the name of an event
    EMAIL_CHANGE = "email_change"
    EMAIL_VERIFIED = "email_verified"


class AuditEntry(models.Model):
    """One event. Entries are added and, after a fixed time, deleted; they are never changed.

    An entry without a team is a failed sign-in with an unknown name: for the operator of the server, shown to no team.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    team = models.ForeignKey(Team, on_delete=models.PROTECT, related_name="+", null=True)
    at = models.DateTimeField()
    who = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True)
    what = models.CharField(max_length=24)
    about = models.JSONField(default=dict)

    class Meta:
        verbose_name_plural = "audit entries"
        indexes = [
            models.Index(fields=["team", "-at", "-id"], name="audit_of_team"),
            models.Index(fields=["at"], name="audit_by_age"),
        ]

    def __str__(self) -> str:
        return f"{self.what} at {self.at}"
