"""Signing in: a device gets a token, a browser a session of its own."""

import secrets
from collections.abc import Mapping
from datetime import datetime, timedelta
from uuid import UUID

from django.conf import settings
from django.db import transaction
from django.utils.translation import gettext as _

from teams.actions.audit import record_event, record_event_in_every_team
from teams.actions.login_throttle import Caller, Credentials, check_login
from teams.actions.people import clean_name, token_digest
from teams.errors import NotSignedIn
from teams.models import AuditEvent, DeviceToken, Member, User
from teams.queries.people import memberships_of
from teams.row_security import acting_for


def issue_token(member: Member, *, device: str, now: datetime) -> tuple[str, DeviceToken]:
    """Make a token for one device of one membership; return it with its record, which holds only its digest."""
    token = secrets.token_urlsafe(32)
    return token, DeviceToken.objects.create(
        member=member,
        device=clean_name(device, field="device", longest=200),
        digest=token_digest(token),
        expires_at=now + timedelta(days=settings.DEVICE_TOKEN_DAYS),
    )


def sign_device_in(member: Member, *, device: str, caller: Caller, now: datetime) -> tuple[str, DeviceToken]:
    """Make a token and note it in the audit log; return as `issue_token`."""
    with acting_for(member.team_id), transaction.atomic():
        token, record = issue_token(member, device=device, now=now)
        about = _audit_details(device, caller)
        record_event(team=member.team_id, login=member.user_id, event=AuditEvent.SIGN_IN, about=about, now=now)
    return token, record


def sign_in(
    credentials: Credentials, *, device: str, team: UUID | None, caller: Caller, now: datetime
) -> tuple[str, DeviceToken]:
    """Sign a device in and return the token with its record.

    A login of several teams names one; otherwise the team it joined first is taken. Raise NotSignedIn for a wrong name
    or password or a team it is not in, Throttled after too many attempts (`teams.actions.login_throttle`).
    """
    device = clean_name(device, field="device", longest=200)
    user = check_login(credentials, caller=caller, now=now)
    membership = _membership(user, team=team, refusal=_("wrong name or password"))
    return sign_device_in(membership, device=device, caller=caller, now=now)


def sign_in_from_browser(
    user: User, *, device: str, team: UUID | None, caller: Caller, now: datetime
) -> tuple[str, DeviceToken]:
    """Give the app in a browser that is signed in a token of its own; return as `sign_in`.

    Raise NotSignedIn if the login is in no team, or not in that one.
    """
    device = clean_name(device, field="device", longest=200)
    membership = _membership(user, team=team, refusal=_("this login is in no team"))
    return sign_device_in(membership, device=device, caller=caller, now=now)


def _membership(user: User, *, team: UUID | None, refusal: str) -> Member:
    """Return the login's membership in the team, or in the one it joined first; for none say ``refusal``."""
    for member in memberships_of(user):
        if team is None or member.team_id == team:
            return member
    raise NotSignedIn(refusal if team is None else _("this login is not in that team"))


def sign_in_browser(credentials: Credentials, *, caller: Caller, now: datetime) -> User:
    """Check a login for a browser, which shows the pages of all its teams; raise as `sign_in` does."""
    user = check_login(credentials, caller=caller, now=now)
    record_event_in_every_team(
        login=user.id, event=AuditEvent.SIGN_IN, about=_audit_details("browser", caller), now=now
    )
    return user


def _audit_details(device: str, caller: Caller) -> Mapping[str, object]:
    return {"device": device, "address": caller.address}
