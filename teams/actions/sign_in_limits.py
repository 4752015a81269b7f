"""Checking a name and a password, slowly for who guesses, and without locking out whose name it is.

Counted are failed checks; a check that succeeds is taken from the counts again. The rule:

- one account from one place: 5 in 15 minutes. A *place* is a device that the login has used before (it shows its last
  token, or a browser its signed cookie) or else the address. A stranger elsewhere therefore spends another allowance
  than the person does, and so does a stranger behind the same router as a known device.
- one address, over all accounts: 50 in 15 minutes. Known places are exempt, so that a guest on the shop's network
  cannot keep the staff out.
- one account, over all places: after 20 in an hour, places that are not known get 1 in 15 minutes instead of 5. Never
  none: however hard others try, whoever comes from a new place has one try, and with the right password is in.

An account that does not exist is counted alike, with the same statements. The figures are own choices, no source.
The last rule bounds guesses by the number of addresses someone commands, not absolutely: an absolute bound would be a
way to lock people out.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import IPv4Address, IPv6Address, ip_address
from uuid import UUID

from django.contrib.auth import authenticate
from django.utils.translation import gettext as _

from teams.actions.limits import Limit, attempts_so_far, count_attempt, hashed_key, reset_count, uncount_attempt
from teams.errors import NotSignedIn, SlowDown
from teams.models import AuditEntry, AuditEvent, KnownClient, Member, User
from teams.row_security import acting_for, teams_of_login

PER_CLIENT = Limit(kind="sign-in of account from place", max_count=5, period=timedelta(minutes=15))
PER_ADDRESS = Limit(kind="sign-in from address", max_count=50, period=timedelta(minutes=15))
PER_ACCOUNT = Limit(kind="sign-in of account", max_count=20, period=timedelta(hours=1))
MAX_WHEN_SLOWED = 1
KNOWN_FOR = timedelta(days=90)
_NOBODY = UUID(int=0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Caller:
    """Where a name and password come from."""

    address: str
    """As `client_network` has it; empty when it is not known."""
    login: UUID | None = None
    """Whose device it has shown itself to be."""
    device: str = ""
    """Which."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Credentials:
    """What someone signs in with."""

    username: str
    password: str


def client_network(address: str) -> str:
    """Return what counts as one address: an IPv4 address, or the /64 of an IPv6 one, which a single customer has.

    Source: RFC 6177 and RFC 4291, from memory: a site gets at least a /64, and an interface id has 64 bits.
    """
    try:
        found = ip_address(address.strip())
    except ValueError:
        return ""
    mapped = found.ipv4_mapped if isinstance(found, IPv6Address) else None
    if isinstance(found, IPv4Address) or mapped is not None:
        return str(mapped or found)
    return f"{IPv6Address(int(found) >> 64 << 64)}/64"


def check_login(credentials: Credentials, *, caller: Caller, now: datetime) -> User:
    """Return the login if the password is its own. Not to be called within a transaction that a refusal would undo.

    Raises
    ------
    SlowDown
        Too many attempts; the password was not looked at.
    NotSignedIn
        Wrong name or password: it cannot be told which.
    """
    username = credentials.username.strip()
    login = User.objects.filter(username__iexact=username).values_list("id", flat=True).first()
    account = str(login or username.casefold())  # one key however a name that exists is spelled
    place_known = KnownClient.objects.filter(
        user_id=login or _NOBODY, place=hashed_key("place", caller.address), last_at__gt=now - KNOWN_FOR
    ).exists()
    device_known = login is not None and caller.login == login and bool(caller.device)
    known = device_known or (place_known and bool(caller.address))
    place = f"device {caller.device}" if device_known else f"address {caller.address}"

    slowed = attempts_so_far(PER_ACCOUNT, account, now=now) > PER_ACCOUNT.max_count and not known
    tries, ends_at = count_attempt(PER_CLIENT, account, place, now=now)
    if tries > (MAX_WHEN_SLOWED if slowed else PER_CLIENT.max_count):
        raise SlowDown(wait=ends_at - now)
    from_address, ends_at = count_attempt(PER_ADDRESS, caller.address, now=now)
    if from_address > PER_ADDRESS.max_count and not known and caller.address:
        raise SlowDown(wait=ends_at - now)

    user = authenticate(username=username, password=credentials.password)
    if not isinstance(user, User):
        in_all, _ends_at = count_attempt(PER_ACCOUNT, account, now=now)
        if tries == 1 and in_all <= PER_ACCOUNT.max_count:
            _record_failure(login, caller=caller, now=now)
        raise NotSignedIn(_("wrong name or password"))
    reset_count(PER_CLIENT, account, place)
    uncount_attempt(PER_ADDRESS, caller.address)
    if caller.address:
        KnownClient.objects.update_or_create(
            user=user, place=hashed_key("place", caller.address), defaults={"last_at": now}
        )
    return user


def _record_failure(login: UUID | None, *, caller: Caller, now: datetime) -> None:
    """Record the first failure of a place and at most as many per account and hour as the rule lets pass unslowed.

    A name that is nobody's leaves an entry too, without the name (it may be a password typed into the wrong field),
    so that the work, and with it the time, does not tell which names exist.
    """
    with acting_for(*(teams_of_login(login or _NOBODY) or [_NOBODY])):
        found = Member.objects.filter(user_id=login or _NOBODY, left_at=None).values_list("team_id", flat=True)
        teams: list[UUID | None] = [*found] or [None]
        AuditEntry.objects.bulk_create(
            AuditEntry(
                team_id=team, who_id=login, what=AuditEvent.FAILED_SIGN_IN, about={"address": caller.address}, at=now
            )
            for team in teams
        )


def delete_old_clients(*, now: datetime) -> int:
    """Delete the places that no longer count as known; return how many there were."""
    return KnownClient.objects.filter(last_at__lt=now - KNOWN_FOR).delete()[0]
