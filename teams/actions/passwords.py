"""Changes a password and the e-mail address for a forgotten one; signs out everywhere."""

from datetime import datetime

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from teams.actions.audit import record_event_in_every_team
from teams.actions.login_throttle import Caller, Credentials, check_login
from teams.actions.people import set_password
from teams.errors import Invalid, NotSignedIn, Problem
from teams.models import AuditEvent, DeviceToken, ResetLink, SignInCode, User
from teams.row_security import acting_for, teams_of_login


def _check_password(token: DeviceToken, password: str, *, address: str, now: datetime) -> User:
    """Return the token's login if the password is right: a stolen token is not enough.

    Raises
    ------
    Invalid
        It is not.
    Throttled
        Too many attempts.
    """
    owner = token.member.user
    caller = Caller(address=address, login=owner.id, device=str(token.id))
    try:
        return check_login(Credentials(username=owner.username, password=password), caller=caller, now=now)
    except NotSignedIn as error:
        raise Invalid(problems=[Problem("password", "wrong", _("is not the present password"))]) from error


def change_password(token: DeviceToken, *, password: str, new_password: str, address: str, now: datetime) -> None:
    """Set another password and sign every other device and browser out.

    Raises
    ------
    Invalid
        ``password`` is not the present one, or the new one is easily guessed.
    Throttled
        Too many attempts at the present one.
    """
    user = _check_password(token, password, address=address, now=now)
    set_password(user, new_password, field="new_password")
    with transaction.atomic():
        user.save(update_fields=["password"])
        _delete_tokens(user, except_token=token)
        record_event_in_every_team(login=user.id, event=AuditEvent.PASSWORD_CHANGE, about={"address": address}, now=now)


def change_email(token: DeviceToken, *, email: str, password: str, address: str, now: datetime) -> User:
    """Set the address for a forgotten password; an empty text removes it. Checks the password as `change_password`.

    Whoever reads mail at that address can set a new password, so a stolen device must not be able to change it.
    """
    email = email.strip()
    if email:
        try:
            validate_email(email)
        except ValidationError as error:
            raise Invalid(problems=[Problem("email", "pattern", _("must be an e-mail address"))]) from error
    user = _check_password(token, password, address=address, now=now)
    user.email = email
    with transaction.atomic():
        user.save(update_fields=["email"])
        ResetLink.objects.filter(user=user, used_at=None).delete()
        record_event_in_every_team(login=user.id, event=AuditEvent.EMAIL_CHANGE, about={"address": address}, now=now)
    return user


@transaction.atomic
def sign_out_everywhere(user: User, *, address: str, now: datetime) -> None:
    """End every token and every browser session of the login, in all its teams, the caller's included."""
    _delete_tokens(user)
    User.objects.filter(id=user.id).update(sign_outs=F("sign_outs") + 1)
    record_event_in_every_team(login=user.id, event=AuditEvent.SIGN_OUT_EVERYWHERE, about={"address": address}, now=now)


def _delete_tokens(user: User, *, except_token: DeviceToken | None = None) -> None:
    """Delete tokens, sign-in codes and mailed links; a new password ends browser sessions by itself."""
    tokens = DeviceToken.objects.filter(member__user=user)
    with acting_for(*teams_of_login(user.id)):
        (tokens if except_token is None else tokens.exclude(id=except_token.id)).delete()
        SignInCode.objects.filter(member__user=user).delete()
    ResetLink.objects.filter(user=user, used_at=None).delete()


@transaction.atomic
def set_new_password(user: User, *, password: str, address: str, now: datetime) -> None:
    """Set the password of a login that has used a mailed link; sign out every device and browser.

    Raises
    ------
    Invalid
        The password is easily guessed.
    """
    set_password(user, password, field="password")
    user.save(update_fields=["password"])
    _delete_tokens(user)
    record_event_in_every_team(login=user.id, event=AuditEvent.PASSWORD_RESET, about={"address": address}, now=now)
