"""Changes a member's role or shop, hands the team over, ends a membership."""

from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from teams.actions.audit import record_event
from teams.errors import Invalid, NotAllowed, NotFound, Problem
from teams.models import AuditEvent, DeviceToken, Invitation, Member, Role, Shop, SignInCode


def _lock_members(member: Member) -> dict[UUID, Member]:
    """Lock the team's present members and return them by login, so that two owners cannot leave at the same time."""
    members = Member.objects.select_for_update().filter(team_id=member.team_id, left_at=None).order_by("id")
    return {row.user_id: row for row in members}


def _require_owner(member: Member, present: dict[UUID, Member], *, refusal: str) -> None:
    """Raise NotAllowed unless the caller is an owner now that the rows are locked."""
    locked = present.get(member.user_id)
    if locked is None or not locked.runs_team:
        raise NotAllowed(refusal)


def _require_remaining_owner(present: dict[UUID, Member]) -> None:
    if not any(row.runs_team for row in present.values()):
        raise NotAllowed(_("a team keeps at least one owner"))


def _revoke_invitations(former: Member, *, now: datetime) -> None:
    """Revoke the open invitations of a member who may no longer invite."""
    invitations = Invitation.objects.filter(team_id=former.team_id, by_id=former.user_id, used_at=None, revoked_at=None)
    invitations.update(revoked_at=now)


def _set_role(owner: Member, changed: Member, *, role: str, now: datetime) -> None:
    if role == changed.role:
        return
    about = {"member": str(changed.user_id), "from": changed.role, "to": role}
    changed.role = role
    changed.save(update_fields=["role"])
    if not changed.runs_team:
        _revoke_invitations(changed, now=now)
    record_event(team=owner.team_id, login=owner.user_id, event=AuditEvent.ROLE_CHANGE, about=about, now=now)


@transaction.atomic
def change_member(
    member: Member, *, user: UUID, role: str | None = None, shop: UUID | None = None, now: datetime
) -> Member:
    """Give a member another role or shop; None changes nothing. Devices stay signed in and follow at once.

    Raise NotAllowed for all but owners and for the last owner, NotFound for an unknown or former member, Invalid for an
    unknown role or shop.
    """
    present = _lock_members(member)
    _require_owner(member, present, refusal=_("only an owner may change roles and shops"))
    changed = present.get(user)
    if changed is None:
        raise NotFound
    if role is not None and role not in Role.values:
        raise Invalid(
            problems=[Problem("role", "choice", _("one of %(choices)s") % {"choices": ", ".join(Role.values)})]
        )
    if shop is not None and not Shop.objects.filter(team_id=member.team_id, id=shop).exists():
        raise Invalid(problems=[Problem("shop", "unknown_parent", _("the team has no shop with this id"))])
    if role is not None:
        was_owner = changed.runs_team
        _set_role(member, changed, role=role, now=now)
        if was_owner:
            _require_remaining_owner(present)
    if shop is not None:
        changed.shop_id = shop
        changed.save(update_fields=["shop"])
    return Member.objects.select_related("user").get(id=changed.id)


@transaction.atomic
def transfer_ownership(member: Member, *, to: UUID, now: datetime) -> None:
    """Make someone else an owner and the caller a buyer, both or neither.

    Raise NotAllowed for all but owners, NotFound for an unknown member, Invalid if it is the caller.
    """
    present = _lock_members(member)
    _require_owner(member, present, refusal=_("only an owner may hand the team over"))
    if to == member.user_id:
        raise Invalid(problems=[Problem("to", "itself", _("must be someone else"))])
    if to not in present:
        raise NotFound
    _set_role(member, present[to], role=Role.OWNER, now=now)
    _set_role(member, present[member.user_id], role=Role.BUYER, now=now)


@transaction.atomic
def remove_member(member: Member, *, user: UUID, now: datetime) -> None:
    """Let a member leave, or an owner take one out. Their notes stay; their devices are signed out at once.

    Raise NotFound for an unknown member, NotAllowed for the last owner, and for someone else unless the caller is an
    owner.
    """
    present = _lock_members(member)
    if user != member.user_id:
        _require_owner(member, present, refusal=_("only an owner may take someone else out"))
    leaving = present.pop(user, None)
    if leaving is None:
        raise NotFound
    if leaving.runs_team:
        _require_remaining_owner(present)
    Member.objects.filter(id=leaving.id).update(left_at=now)
    DeviceToken.objects.filter(member_id=leaving.id).delete()
    SignInCode.objects.filter(member_id=leaving.id).delete()
    _revoke_invitations(leaving, now=now)
    about = {"member": str(user), "role": leaving.role}
    record_event(team=member.team_id, login=member.user_id, event=AuditEvent.REMOVAL, about=about, now=now)
