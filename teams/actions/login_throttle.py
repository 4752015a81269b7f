"""Checks passwords with rate limits that do not lock out the owner of the account.

Failed checks are counted; a successful check is taken from the counts again. The limits:

- one account from one client: 5 in 15 minutes. A *client* is a device that the login has used before (it sends its last
  token, a browser its signed cookie), otherwise the IP address. So guesses from elsewhere, even from behind the same
  router, do not use up the attempts of a known device.
- one address, over all accounts: 50 in 15 minutes. Known clients are exempt, so that a guest on the shop's network
  cannot keep the staff out.
- one account, over all clients: after 20 in an hour, unknown clients get 1 attempt in 15 minutes instead of 5. It is
  never 0: a person on a new device always has one attempt with the right password.

An account that does not exist is counted in the same way, with the same statements. The figures are own choices, no
source. The last limit bounds guesses by the number of addresses that an attacker has; an absolute bound would be a way
to lock people out.
"""

import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import IPv4Address, IPv6Address, ip_address
from uuid import UUID

from django.contrib.auth import authenticate
from django.utils.translation import gettext as _

from teams.actions.attempt_counts import Limit, count_key, current_count, decrement, increment, reset_count
from teams.errors import NotSignedIn, Throttled
from teams.models import AuditEntry, AuditEvent, KnownClient, Member, User
from teams.row_security import acting_for, acting_for_login, login_named, teams_of_login

PER_CLIENT = Limit(kind="sign-in of account from place", max_attempts=5, window=timedelta(minutes=15))
PER_IP = Limit(kind="sign-in from address", max_attempts=50, window=timedelta(minutes=15))
PER_ACCOUNT = Limit(kind="sign-in of account", max_attempts=20, window=timedelta(hours=1))
MAX_WHEN_SLOWED = 1
KNOWN_CLIENT_RETENTION = timedelta(days=90)
_NO_USER = UUID(int=0)
_WITH_PORT = re.compile(r"^(?:\[(.*)\]|([0-9.]+))(?::[0-9]{1,5})?$")


@dataclass(frozen=True, slots=True, kw_only=True)
class Caller:
    """Who sends a user name and a password."""

    address: str
    """From `network_key`; empty if it is not known."""
    login: UUID | None = None
    """The login that has used this device before."""
    device: str = ""
    """The id of that device."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Credentials:
    """A user name and a password."""

    username: str
    password: str


def network_key(address: str) -> str:
    """Return what counts as one address: an IPv4 address or the /64 of an IPv6 address, which one customer has.

    Some proxies add the port: ``203.0.113.1:5678``, ``[2001:db8::1]:5678``. It is left out.

    Source: RFC 6177 and RFC 4291, from memory: a site gets at least a /64, and an interface id has 64 bits.
    """
    try:
        ip = ip_address(_WITH_PORT.sub(r"\1\2", address.strip()))
    except ValueError:
        return ""
    mapped = ip.ipv4_mapped if isinstance(ip, IPv6Address) else None
    if isinstance(ip, IPv4Address) or mapped is not None:
        return str(mapped or ip)
    return f"{IPv6Address(int(ip) >> 64 << 64)}/64"


def check_login(credentials: Credentials, *, caller: Caller, now: datetime) -> User:
    """Return the login if the password is right. Must not run in a transaction that a refusal would roll back.

    Raise Throttled after too many attempts, without a look at the password; NotSignedIn for a wrong name or password,
    without saying which.
    """
    login = login_named(credentials.username)
    with acting_for_login(login):
        return _check_login(credentials, login=login, caller=caller, now=now)


def _check_login(credentials: Credentials, *, login: UUID | None, caller: Caller, now: datetime) -> User:
    username = credentials.username.strip()
    account = str(login or username.casefold())  # one key for all spellings of an existing name
    address_known = KnownClient.objects.filter(
        user_id=login or _NO_USER, place=count_key("place", caller.address), last_at__gt=now - KNOWN_CLIENT_RETENTION
    ).exists()
    device_known = login is not None and caller.login == login and bool(caller.device)
    is_known = device_known or (address_known and bool(caller.address))
    client = f"device {caller.device}" if device_known else f"address {caller.address}"

    is_slowed = current_count(PER_ACCOUNT, account, now=now) > PER_ACCOUNT.max_attempts and not is_known
    n_attempts, ends_at = increment(PER_CLIENT, account, client, now=now)
    if n_attempts > (MAX_WHEN_SLOWED if is_slowed else PER_CLIENT.max_attempts):
        raise Throttled(wait=ends_at - now)
    n_of_address, ends_at = increment(PER_IP, caller.address, now=now)
    if n_of_address > PER_IP.max_attempts and not is_known and caller.address:
        raise Throttled(wait=ends_at - now)

    user = authenticate(username=username, password=credentials.password)
    if not isinstance(user, User):
        n_of_account, _ends_at = increment(PER_ACCOUNT, account, now=now)
        if n_attempts == 1 and n_of_account <= PER_ACCOUNT.max_attempts:
            record_failure(login, caller=caller, now=now)
        raise NotSignedIn(_("wrong name or password"))
    reset_count(PER_CLIENT, account, client)
    decrement(PER_IP, caller.address)
    if caller.address:
        KnownClient.objects.update_or_create(
            user=user, place=count_key("place", caller.address), defaults={"last_at": now}
        )
    return user


def record_failure(login: UUID | None, *, caller: Caller, now: datetime) -> None:
    """Record the first failure of a client, and per account and hour no more than `PER_ACCOUNT` allows.

    A name that does not exist leaves an entry too, without the name (it may be a password typed into the wrong field).
    So the time that the check takes does not tell which names exist.
    """
    with acting_for(*(teams_of_login(login or _NO_USER) or [_NO_USER])):
        team_ids = Member.objects.filter(user_id=login or _NO_USER, left_at=None).values_list("team_id", flat=True)
        teams: list[UUID | None] = [*team_ids] or [None]
        AuditEntry.objects.bulk_create(
            AuditEntry(
                team_id=team, who_id=login, what=AuditEvent.FAILED_SIGN_IN, about={"address": caller.address}, at=now
            )
            for team in teams
        )


def delete_old_clients(*, now: datetime) -> int:
    """Delete the addresses that no longer count as known; return how many there were."""
    return KnownClient.objects.filter(last_at__lt=now - KNOWN_CLIENT_RETENTION).delete()[0]
