"""Changes a password; signs out everywhere."""

from datetime import datetime

from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from teams.actions.audit import record_event_in_every_team
from teams.actions.login_throttle import Caller, Credentials, check_login
from teams.actions.people import set_password
from teams.errors import Invalid, NotSignedIn, Problem
from teams.models import AuditEvent, DeviceToken, ResetLink, SignInCode, User
from teams.row_security import acting_for, teams_of_login


def check_present_password(user: User, password: str, *, caller: Caller, now: datetime) -> User:
    """Return the login, read again, if the password is right: a stolen device is not enough.

    Raise Invalid if it is wrong, Throttled after too many attempts.
    """
    try:
        return check_login(Credentials(username=user.username, password=password), caller=caller, now=now)
    except NotSignedIn as error:
        raise Invalid(problems=[Problem("password", "wrong", _("is not the present password"))]) from error


def change_password(  # noqa: PLR0913 - who, from what to what, from where
    user: User, *, password: str, new_password: str, caller: Caller, now: datetime, token: DeviceToken | None = None
) -> User:
    """Set another password and sign out every device and browser but that with ``token``; return the login, read again.

    Raise Invalid if ``password`` is wrong or the new one is easily guessed, Throttled after too many attempts.
    """
    user = check_present_password(user, password, caller=caller, now=now)
    set_password(user, new_password, field="new_password")
    with transaction.atomic():
        user.save(update_fields=["password"])
        _delete_tokens(user, except_token=token)
        about = {"address": caller.address}
        record_event_in_every_team(login=user.id, event=AuditEvent.PASSWORD_CHANGE, about=about, now=now)
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

    Raise Invalid if the password is easily guessed.
    """
    set_password(user, password, field="password")
    user.save(update_fields=["password"])
    _delete_tokens(user)
    record_event_in_every_team(login=user.id, event=AuditEvent.PASSWORD_RESET, about={"address": address}, now=now)
