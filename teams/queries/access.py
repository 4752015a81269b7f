"""Reads about invitations and the audit log, for owners."""

from collections.abc import Collection
from datetime import datetime
from uuid import UUID

from django.db.models import Q
from django.utils.translation import gettext as _

from teams.errors import NotAllowed, NotFound
from teams.models import AuditEntry, AuditEvent, Invitation, Member
from teams.row_security import acting_for, team_of_invitation

AUDIT_EVENTS: tuple[str, ...] = tuple(AuditEvent.values)
"""Events about people, as the audit log names them."""


def invitations_of(member: Member, *, after: UUID | None, limit: int) -> list[Invitation]:
    """Return the team's invitations, newest first, closed ones included; owners only."""
    if not member.runs_team:
        raise NotAllowed(_("only an owner sees the invitations"))
    invitations = Invitation.objects.filter(team_id=member.team_id)
    if after is not None:
        last = invitations.filter(id=after).values_list("created_at", flat=True).first()
        if last is None:
            return []
        invitations = invitations.filter(Q(created_at__lt=last) | Q(created_at=last, id__lt=after))
    return list(invitations.order_by("-created_at", "-id")[:limit])


def invitation_for(member: Member, invitation: UUID) -> Invitation:
    """Return the team's invitation; raise NotFound for an absent or a foreign one."""
    row = Invitation.objects.filter(team_id=member.team_id, id=invitation).first()
    if row is None:
        raise NotFound
    return row


def valid_invitation(digest: str, *, now: datetime) -> Invitation:
    """Return the open invitation with this token; raise NotFound if it is unknown, used, expired or revoked."""
    with acting_for(team_of_invitation(digest)):
        invitation = (
            Invitation.objects.filter(digest=digest, used_at=None, revoked_at=None, expires_at__gt=now)
            .select_related("team", "shop")
            .first()
        )
    if invitation is None:
        raise NotFound
    return invitation


def check_may_read_audit(member: Member) -> None:
    """Raise NotAllowed unless the member is an owner."""
    if not member.runs_team:
        raise NotAllowed(_("only an owner reads the audit log"))


def list_audit(
    member: Member, *, events: Collection[str] | None, login: UUID | None = None, after: UUID | None, limit: int
) -> list[AuditEntry]:
    """Return the team's audit log, the latest first, of some events or one login; raise as `check_may_read_audit`."""
    check_may_read_audit(member)
    entries = AuditEntry.objects.filter(team_id=member.team_id)
    if events is not None:
        entries = entries.filter(what__in=events)
    if login is not None:
        entries = entries.filter(who_id=login)
    if after is not None:
        last = AuditEntry.objects.filter(team_id=member.team_id, id=after).values_list("at", flat=True).first()
        if last is None:
            return []
        entries = entries.filter(Q(at__lt=last) | Q(at=last, id__lt=after))
    return list(entries.select_related("who").order_by("-at", "-id")[:limit])
