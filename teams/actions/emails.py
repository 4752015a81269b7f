"""The e-mail address of a login: set with the password, verified by a mailed link, and only then used for a reset.

The link is opened by the login itself, signed in. So a mistyped address does not let its owner set a new password: they
have the mail, but not the login. An address that is not verified receives no link for a forgotten password.
"""

from datetime import datetime, timedelta
from uuid import UUID

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.mail import send_mail
from django.core.signing import BadSignature, Signer
from django.core.validators import validate_email
from django.db import transaction
from django.db.models import Q
from django.utils.translation import get_language, override
from django.utils.translation import gettext as _

from teams.actions.attempt_counts import Limit, increment_or_raise
from teams.actions.audit import record_event_in_every_team
from teams.actions.login_throttle import Caller
from teams.actions.passwords import check_present_password
from teams.errors import Invalid, NotFound, Problem
from teams.models import AuditEvent, EmailVerification, ResetLink, User

PER_LOGIN = Limit(kind="verification mail to login", max_attempts=5, window=timedelta(hours=1))
LINK_LIFETIME = timedelta(days=3)
CLAIM_TIMEOUT = timedelta(minutes=2)
GIVE_UP_AFTER = timedelta(hours=1)


def change_email(  # noqa: PLR0913 - what is set, by whom, and where links lead
    user: User, *, email: str, password: str, site: str, caller: Caller, now: datetime
) -> UUID | None:
    """Set the address for a forgotten password; an empty text removes it. Return the request for mail to verify it.

    The password is checked, so that a stolen device cannot change the address. The same address again changes nothing
    and is mailed another link while it is not verified. Raise Invalid for no e-mail address or another password,
    Throttled after too many attempts at the password or too many mails within an hour.
    """
    email = email.strip()
    if email:
        try:
            validate_email(email)
        except ValidationError as error:
            raise Invalid(problems=[Problem("email", "pattern", _("must be an e-mail address"))]) from error
    check_present_password(user, password, caller=caller, now=now)
    former = user.email if user.email_verified_at else ""
    if email == user.email:
        return request_verification(user, site=site, now=now) if email and not user.email_verified_at else None
    with transaction.atomic():
        user.email, user.email_verified_at = email, None
        user.save(update_fields=["email", "email_verified_at"])
        ResetLink.objects.filter(user=user, used_at=None).delete()
        about = {"address": caller.address}
        record_event_in_every_team(login=user.id, event=AuditEvent.EMAIL_CHANGE, about=about, now=now)
        return request_verification(user, site=site, former=former, now=now) if email or former else None


def request_verification(user: User, *, site: str, former: str = "", now: datetime) -> UUID:
    """Store a request for mail: a link to the login's address and, to a ``former`` one, that it no longer counts.

    Raise Throttled after too many within an hour.
    """
    increment_or_raise(PER_LOGIN, str(user.id), now=now)
    language = get_language() or ""
    return EmailVerification.objects.create(
        user=user, email=user.email, former=former, site=site, language=language, created_at=now
    ).id


def due_verifications(*, now: datetime) -> list[UUID]:
    """Return the requests of the last hour that no worker has handled or claimed."""
    requests = EmailVerification.objects.filter(_unclaimed(now), handled_at=None, created_at__gt=now - GIVE_UP_AFTER)
    return list(requests.values_list("id", flat=True))


def _unclaimed(now: datetime) -> Q:
    return Q(claimed_at=None) | Q(claimed_at__lt=now - CLAIM_TIMEOUT)


def send_verification_mail(request: UUID, *, now: datetime) -> None:
    """Mail the link that was asked for, and tell the former address that it no longer counts. Once sent, do nothing."""
    rows = EmailVerification.objects.filter(id=request)
    if not rows.filter(_unclaimed(now), handled_at=None).update(claimed_at=now):
        return
    verification = rows.select_related("user").get()
    with override(verification.user.language or verification.language or settings.LANGUAGE_CODE):
        if verification.email:
            _send_link(verification)
        if verification.former:
            _send_notice(verification)
    rows.update(handled_at=now)


def _send_link(request: EmailVerification) -> None:
    days = LINK_LIFETIME.days
    paragraphs = (
        _("Somebody, hopefully you, entered this address for the Leafspan login %(username)s.")
        % {"username": request.user.username},
        _("Open this within %(days)s days and sign in as that login to confirm it:") % {"days": days},
        f"{request.site}/account/email/{_signer().sign(str(request.id))}/",
        _("Until then a forgotten password cannot be set anew by mail. If it was not you, leave this mail alone."),
    )
    send_mail(_("Leafspan: confirm this address"), "\n\n".join(paragraphs) + "\n", None, [request.email])


def _send_notice(request: EmailVerification) -> None:
    paragraphs = (
        _("The Leafspan login %(username)s has another e-mail address now, or none; this one no longer counts.")
        % {"username": request.user.username},
        _("If it was not you, tell an owner of your team at once and change the password."),
    )
    send_mail(_("Leafspan: your address was changed"), "\n\n".join(paragraphs) + "\n", None, [request.former])


def _signer() -> Signer:
    return Signer(salt="teams.email_verification", sep=".")


def valid_verification(token: str, *, user: User, now: datetime) -> EmailVerification:
    """Return what a mailed link is for.

    Raise NotFound if the link is unknown or expired, is another login's, or the login has another address by now,
    without saying which.
    """
    try:
        request = UUID(_signer().unsign(token))
    except (BadSignature, ValueError) as error:
        raise NotFound from error
    verification = EmailVerification.objects.filter(id=request, user=user, created_at__gt=now - LINK_LIFETIME).first()
    if verification is None or not verification.email or verification.email != user.email:
        raise NotFound
    return verification


@transaction.atomic
def verify_email(token: str, *, user: User, address: str, now: datetime) -> None:
    """Count the login's address as verified; doing so again changes nothing. Raise as `valid_verification`."""
    locked = User.objects.select_for_update().get(id=user.id)
    valid_verification(token, user=locked, now=now)
    if locked.email_verified_at is None:
        User.objects.filter(id=user.id).update(email_verified_at=now)
        about = {"address": address}
        record_event_in_every_team(login=user.id, event=AuditEvent.EMAIL_VERIFIED, about=about, now=now)


def delete_old_verifications(*, now: datetime) -> int:
    """Delete the requests whose links have expired; return how many there were."""
    return EmailVerification.objects.filter(created_at__lt=now - LINK_LIFETIME).delete()[0]
