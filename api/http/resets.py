"""Requests for a link to a new password, the same for the API and the page."""

from django.conf import settings
from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _
from rest_framework.request import Request

from api.http.auth import client_ip
from tastings.jobs import Job, later
from teams.actions.resets import create_reset_request


def reset_requested_text() -> str:
    """Say what happens next, the same whether or not there is such a login."""
    return _("If there is such a login and it has an e-mail address, a link to set a new password is on its way there.")


def base_url(request: HttpRequest | Request) -> str:
    """Return scheme and host for mailed links: as configured, otherwise those of the request."""
    return settings.SITE_URL or f"{request.scheme}://{request.get_host()}"


def request_reset(request: HttpRequest | Request, username: str) -> None:
    """Store the request and enqueue the job that mails the link."""
    request_row = create_reset_request(username, site=base_url(request), address=client_ip(request), now=timezone.now())
    later(Job.MAIL_RESET, str(request_row))
