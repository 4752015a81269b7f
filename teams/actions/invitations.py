"""Invitations: a one-time link into a team is made, revoked, or used to join."""

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from teams.actions.audit import record_event
from teams.actions.login_throttle import Caller, Credentials, check_login
from teams.actions.people import add_member, clean_name, create_login, token_digest
from teams.actions.signing_in import issue_token
from teams.errors import Invalid, NotAllowed, NotFound, Problem
from teams.models import AuditEvent, DeviceToken, Invitation, Member, Role, Shop, User
from teams.queries.access import valid_invitation
from teams.row_security import acting_for, login_named

DEFAULT_DAYS, MAX_DAYS = 7, 30
"""How long a link is valid. Own choice, no source."""


@transaction.atomic
def create_invitation(
    member: Member, *, role: str, shop: UUID, expires_at: datetime | None, now: datetime
) -> tuple[str, Invitation]:
    """Make a one-time link into the team; return its token, which is stored nowhere, with the invitation.

    Raise NotAllowed for all but owners, Invalid for an unknown role or shop, or an end that has passed or lies more
    than `MAX_DAYS` ahead.
    """
    if not member.runs_team:
        raise NotAllowed(_("only an owner may invite"))
    problems = []
    if role not in Role.values:
        problems.append(Problem("role", "choice", _("one of %(choices)s") % {"choices": ", ".join(Role.values)}))
    if not Shop.objects.filter(team_id=member.team_id, id=shop).exists():
        problems.append(Problem("shop", "unknown_parent", _("the team has no shop with this id")))
    end = expires_at or now + timedelta(days=DEFAULT_DAYS)
    if not now < end <= now + timedelta(days=MAX_DAYS):
        problems.append(Problem("expires_at", "range", _("must lie ahead, at most %(most)s days") % {"most": MAX_DAYS}))
    if problems:
        raise Invalid(problems=problems)
    token = secrets.token_urlsafe(32)
    created = Invitation.objects.create(
        team_id=member.team_id, shop_id=shop, role=role, digest=token_digest(token), by_id=member.user_id,
        created_at=now, expires_at=end,
    )  # fmt: skip
    about = {"invitation": str(created.id), "role": role, "shop": str(shop)}
    record_event(team=member.team_id, login=member.user_id, event=AuditEvent.INVITATION, about=about, now=now)
    return token, created


@transaction.atomic
def revoke_invitation(member: Member, *, invitation: UUID, now: datetime) -> None:
    """End a link that was not used; ending it twice is no error.

    Raise NotAllowed for all but owners, NotFound if the team has no such invitation or it was used already.
    """
    if not member.runs_team:
        raise NotAllowed(_("only an owner may take an invitation back"))
    row = Invitation.objects.select_for_update().filter(team_id=member.team_id, id=invitation, used_at=None).first()
    if row is None:
        raise NotFound
    if row.revoked_at is None:
        row.revoked_at = now
        row.save(update_fields=["revoked_at"])
        about = {"invitation": str(row.id)}
        record_event(
            team=member.team_id, login=member.user_id, event=AuditEvent.INVITATION_REVOKED, about=about, now=now
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Newcomer:
    """Who joins: a new login, or one that exists."""

    username: str
    password: str
    existing: bool | None = None
    """True: the name must exist; False: it must not; None: either."""


def accept_invitation(
    *, token: str, newcomer: Newcomer, device: str | None, caller: Caller, now: datetime
) -> tuple[Member, str | None, DeviceToken | None]:
    """Join by a link; with ``device`` sign it in as well. Return the membership, the token and its record.

    Raise NotFound if the link is unknown, used, expired or revoked, without saying which; Invalid if the name is taken,
    the password is easily guessed, or the login is in the team already (the link stays valid); NotSignedIn and
    Throttled as `teams.actions.login_throttle.check_login` for a login that exists.
    """
    team = valid_invitation(token_digest(token), now=now).team_id
    if device is not None:
        device = clean_name(device, field="device", longest=200)
    user = _known_login(newcomer, caller=caller, now=now)
    with acting_for(team), transaction.atomic():
        # The row is locked and read again: of two requests with one link, one is too late.
        locked = Invitation.objects.select_for_update().filter(digest=token_digest(token))
        if not locked:
            raise NotFound
        invitation = valid_invitation(token_digest(token), now=now)
        if user is None:
            user = create_login(newcomer.username, newcomer.password)
        member = add_member(team=invitation.team, user=user, shop=invitation.shop, role=invitation.role)
        Invitation.objects.filter(id=invitation.id).update(used_at=now, used_by=user)
        about = {"invitation": str(invitation.id), "role": member.role, "shop": str(member.shop_id)}
        record_event(team=member.team_id, login=user.id, event=AuditEvent.JOINED, about=about, now=now)
        signed_in = issue_token(member, device=device, now=now) if device is not None else (None, None)
    return member, *signed_in


def _known_login(newcomer: Newcomer, *, caller: Caller, now: datetime) -> User | None:
    """Return the login that exists, once its password is checked; None for one that is yet to be made."""
    name = clean_name(newcomer.username, field="username", longest=80)
    exists = login_named(name) is not None
    if exists and newcomer.existing is False:
        raise Invalid(problems=[Problem("username", "taken", _("this name is taken"))])
    if exists or newcomer.existing:
        return check_login(Credentials(username=name, password=newcomer.password), caller=caller, now=now)
    return None
