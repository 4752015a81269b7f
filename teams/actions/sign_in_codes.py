"""Short codes that sign a phone in: made by a member who is signed in, shown on a page, typed or scanned once.

A code has 8 characters of 32, so 40 bits. It works once, for `CODE_LIFETIME`, and a member has one at a time. Wrong
codes are counted as wrong passwords are: 10 from one client in 15 minutes; after 1,000 from all clients in an hour a
client gets 1. Somebody who guesses from 10,000 addresses then meets one of 100 codes in force with a probability of
about 1 in 100,000 per 15 minutes. The figures are own choices, no source.
"""

import secrets
from datetime import datetime, timedelta

from django.db import transaction
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _

from teams.actions.attempt_counts import Limit, current_count, decrement, increment
from teams.actions.audit import record_event
from teams.actions.login_throttle import MAX_WHEN_SLOWED, Caller, record_failure
from teams.actions.people import clean_name
from teams.actions.signing_in import sign_device_in
from teams.errors import NotSignedIn, Throttled
from teams.models import AuditEvent, DeviceToken, Member, SignInCode
from teams.row_security import acting_for, team_of_sign_in_code

CODE_LIFETIME = timedelta(minutes=5)
ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Crockford's base 32: no I, L, O or U. Source: D. Crockford, "Base 32", from memory."""
LENGTH = 8
PER_CLIENT = Limit(kind="sign-in code from client", max_attempts=10, window=timedelta(minutes=15))
OVER_ALL = Limit(kind="wrong sign-in codes", max_attempts=1000, window=timedelta(hours=1))
_MISREAD = str.maketrans("ILO", "110", " -\u2010\u2011\u2013")


def _digest(code: str) -> str:
    """Return what is stored of a code: keyed with the server's secret, since 40 bits alone could be tried out."""
    return salted_hmac("teams.sign_in_code", code, algorithm="sha256").hexdigest()


def create_sign_in_code(member: Member, *, now: datetime) -> tuple[str, datetime]:
    """Return a new code and when it ends; the member's former code ends now."""
    code = "".join(secrets.choice(ALPHABET) for _ in range(LENGTH))
    expires_at = now + CODE_LIFETIME
    with acting_for(member.team_id), transaction.atomic():
        SignInCode.objects.update_or_create(member=member, defaults={"digest": _digest(code), "expires_at": expires_at})
        record_event(team=member.team_id, login=member.user_id, event=AuditEvent.SIGN_IN_CODE, about={}, now=now)
    return code, expires_at


def sign_in_by_code(code: str, *, device: str, caller: Caller, now: datetime) -> tuple[str, DeviceToken]:
    """Sign a device in by a code, which ends with that; return the token with its record.

    The code is looked up by its keyed digest, so the time of the answer says nothing about codes that are near. Raise
    NotSignedIn if it is wrong, used or expired, or its member has left, without saying which; Throttled after too many
    attempts, without a look at it.
    """
    device = clean_name(device, field="device", longest=200)
    client = f"device {caller.device}" if caller.device else f"address {caller.address}"
    is_slowed = current_count(OVER_ALL, now=now) > OVER_ALL.max_attempts
    n_attempts, ends_at = increment(PER_CLIENT, client, now=now)
    if n_attempts > (MAX_WHEN_SLOWED if is_slowed else PER_CLIENT.max_attempts):
        raise Throttled(wait=ends_at - now)
    member = _use_code(_digest(code.upper().translate(_MISREAD)), now=now)
    if member is None:
        increment(OVER_ALL, now=now)
        if n_attempts == 1:
            record_failure(None, caller=caller, now=now)
        raise NotSignedIn(_("this code is wrong, was used already or has ended"))
    decrement(PER_CLIENT, client)
    return sign_device_in(member, device=device, caller=caller, now=now)


def _use_code(digest: str, *, now: datetime) -> Member | None:
    """Delete the code; return its member if it was still valid. Of two requests at once, one gets the member."""
    with acting_for(team_of_sign_in_code(digest)), transaction.atomic():
        code = SignInCode.objects.select_for_update().filter(digest=digest, expires_at__gt=now).first()
        if code is None:
            return None
        members = Member.objects.filter(id=code.member_id, left_at=None, user__is_active=True)
        code.delete()
        return members.select_related("user", "team", "shop").first()


def delete_expired_codes(*, now: datetime) -> None:
    """Delete the expired codes of the teams acted for."""
    SignInCode.objects.filter(expires_at__lt=now).delete()
