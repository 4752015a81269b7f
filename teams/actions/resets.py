"""A forgotten password: asking for mail, sending it, and setting a new one by the link.

Every request does the same work: it stores what was asked for, and a worker does the rest. So neither the answer nor
its time tells whether there is such a login or whether it has an e-mail address.
"""

import secrets
from datetime import datetime, timedelta
from uuid import UUID

from django.conf import settings
from django.core.mail import send_mail
from django.db import transaction
from django.db.models import Q
from django.utils.translation import get_language, override
from django.utils.translation import gettext as _

from teams.actions.attempt_counts import Limit, increment_or_raise
from teams.actions.passwords import set_new_password
from teams.actions.people import token_digest
from teams.errors import Invalid, NotFound, Problem
from teams.models import ResetLink, ResetRequest, User
from teams.row_security import acting_for_login, login_of_reset_link

PER_ADDRESS = Limit(kind="reset from address", max_attempts=10, window=timedelta(hours=1))
LINK_LIFETIME = timedelta(hours=1)
MAX_LINKS = 3
"""Most mails to one login within `LINK_LIFETIME`, so that nobody's mailbox is flooded."""
MAX_LOGINS = 5
"""Most mails for one e-mail address that several logins share."""
CLAIM_TIMEOUT = timedelta(minutes=2)
GIVE_UP_AFTER = timedelta(hours=1)
RESET_RETENTION = timedelta(days=30)


def create_reset_request(identifier: str, *, site: str, address: str, now: datetime) -> UUID:
    """Store a request for mail to this user name or e-mail address; return its id.

    Raise Invalid if it is empty or too long to be either, Throttled after too many from this address.
    """
    identifier = identifier.strip()
    if not 0 < len(identifier) <= 254:
        raise Invalid(
            problems=[Problem("username", "required" if not identifier else "too_long", _("1 to 254 characters"))]
        )
    if address:
        increment_or_raise(PER_ADDRESS, address, now=now)
    return ResetRequest.objects.create(asked=identifier, site=site, language=get_language() or "", created_at=now).id


def due_reset_requests(*, now: datetime) -> list[UUID]:
    """Return the requests of the last hour that no worker has handled or claimed."""
    requests = ResetRequest.objects.filter(_unclaimed(now), handled_at=None, created_at__gt=now - GIVE_UP_AFTER)
    return list(requests.values_list("id", flat=True))


def _unclaimed(now: datetime) -> Q:
    return Q(claimed_at=None) | Q(claimed_at__lt=now - CLAIM_TIMEOUT)


def send_reset_mail(request: UUID, *, now: datetime) -> int:
    """Mail the links that were asked for; return how many. Calling it again mails nothing.

    A worker that dies has claimed the request for `CLAIM_TIMEOUT`; then another starts again, with new links.
    """
    n_claimed = ResetRequest.objects.filter(_unclaimed(now), id=request, handled_at=None).update(claimed_at=now)
    if not n_claimed:
        return 0
    reset_request = ResetRequest.objects.get(id=request)
    sent = 0
    for user in _logins_named(reset_request.asked):
        with override(user.language or reset_request.language or settings.LANGUAGE_CODE):
            sent += _send_link(user, site=reset_request.site, now=now)
    ResetRequest.objects.filter(id=request).update(handled_at=now)
    return sent


def _logins_named(identifier: str) -> list[User]:
    """Return the logins of this name or address that have a verified address and can sign in."""
    named = Q(username__iexact=identifier) | Q(email__iexact=identifier)
    return list(
        User.objects.filter(named, is_active=True, email_verified_at__isnull=False)
        .exclude(email="")
        .order_by("created_at")[:MAX_LOGINS]
    )


def _send_link(user: User, *, site: str, now: datetime) -> bool:
    if ResetLink.objects.filter(user=user, created_at__gt=now - LINK_LIFETIME).count() >= MAX_LINKS:
        return False
    token = secrets.token_urlsafe(32)
    ResetLink.objects.create(user=user, digest=token_digest(token), created_at=now, expires_at=now + LINK_LIFETIME)
    minutes = int(LINK_LIFETIME.total_seconds() // 60)
    paragraphs = (
        _("Somebody, hopefully you, asked to set a new password for the Leafspan login %(username)s.")
        % {"username": user.username},
        _("Set it here, within %(minutes)s minutes and once:") % {"minutes": minutes},
        f"{site}/reset/{token}/",
        _("All devices are signed out then. If it was not you, leave this mail alone: nothing changes."),
    )
    send_mail(_("Leafspan: a new password"), "\n\n".join(paragraphs) + "\n", None, [user.email])
    return True


def valid_reset_link(token: str, *, now: datetime) -> ResetLink:
    """Return the valid link with this token; raise NotFound if it is unknown, used or expired."""
    digest = token_digest(token)
    with acting_for_login(login_of_reset_link(digest)):
        link = (
            ResetLink.objects.filter(digest=digest, used_at=None, expires_at__gt=now, user__is_active=True)
            .select_related("user")
            .first()
        )
    if link is None:
        raise NotFound
    return link


@transaction.atomic
def reset_password(*, token: str, password: str, address: str, now: datetime) -> None:
    """Set a new password by a mailed link and sign every device and browser out.

    Raise NotFound if the link is unknown, used or expired, without saying which; Invalid if the password is easily
    guessed: the link stays valid.
    """
    digest = token_digest(token)
    with acting_for_login(login_of_reset_link(digest)):
        if not ResetLink.objects.select_for_update().filter(digest=digest):
            raise NotFound
        link = valid_reset_link(token, now=now)
        ResetLink.objects.filter(id=link.id).update(used_at=now)
        set_new_password(link.user, password=password, address=address, now=now)


def delete_old_resets(*, now: datetime) -> int:
    """Delete what was asked more than a day ago, and links older than `RESET_RETENTION`; return how many there were."""
    requests = ResetRequest.objects.filter(created_at__lt=now - timedelta(days=1)).delete()[0]
    return requests + ResetLink.objects.filter(created_at__lt=now - RESET_RETENTION).delete()[0]
