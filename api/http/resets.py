"""Requests for mail: a link to a new password, a link that verifies an address; the same for the API and pages."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.conf import settings
from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _
from rest_framework.request import Request

from api.http.auth import client_ip
from tastings.jobs import Job, later
from teams.actions.emails import change_email, request_verification
from teams.actions.login_throttle import Caller
from teams.actions.resets import create_reset_request
from teams.errors import Invalid, Problem
from teams.row_security import note_unknown

if TYPE_CHECKING:
    from teams.models import User


def reset_requested_text() -> str:
    """Say what happens next, the same whether or not there is such a login."""
    return _(
        "If there is such a login with a verified e-mail address, a link to set a new password is on its way there."
    )


def base_url(request: HttpRequest | Request) -> str:
    """Return scheme and host for mailed links: as configured, otherwise those of the request."""
    return settings.SITE_URL or f"{request.scheme}://{request.get_host()}"


def request_reset(request: HttpRequest | Request, username: str) -> None:
    """Store the request and enqueue the job that mails the link."""
    request_row = create_reset_request(username, site=base_url(request), address=client_ip(request), now=timezone.now())
    later(Job.MAIL_RESET, str(request_row))
    note_unknown()  # whose name it is, a worker looks up: in every cell


def set_email(request: HttpRequest | Request, user: User, *, email: str, password: str, caller: Caller) -> None:
    """Set a login's address and enqueue the job that mails the link to verify it; raise as `change_email`."""
    row = change_email(user, email=email, password=password, site=base_url(request), caller=caller, now=timezone.now())
    if row is not None:
        later(Job.MAIL_VERIFICATION, str(row))


def mail_verification_again(request: HttpRequest | Request, user: User) -> None:
    """Enqueue another link for an address that is not verified; nothing for one that is.

    Raise Invalid for a login without an address.
    """
    if not user.email:
        raise Invalid(problems=[Problem("email", "required", _("there is no e-mail address yet: set one first"))])
    if user.email_verified_at is None:
        row = request_verification(user, site=base_url(request), now=timezone.now())
        later(Job.MAIL_VERIFICATION, str(row))
