"""Who calls: a device's bearer token."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast
from uuid import UUID

from django.conf import settings
from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from teams.actions.people import record_use, token_digest
from teams.actions.sign_in_limits import Caller, client_network
from teams.queries.people import known_device, valid_token
from teams.row_security import act_for

if TYPE_CHECKING:
    from teams.models import DeviceToken, Member, User

SCHEME = "Bearer"


def _token_in(request: HttpRequest | Request) -> str | None:
    """Return the bearer token that a request carries, good or not; None when the header names another scheme."""
    scheme, _, token = request.META.get("HTTP_AUTHORIZATION", "").partition(" ")
    return token.strip() if scheme.lower() == SCHEME.lower() else None


def client_ip(request: HttpRequest | Request) -> str:
    """Return the address that a request comes from, as far as one can be sure of it.

    Each proxy of ours adds the address that spoke to it at the end of ``X-Forwarded-For``; what stands further to the
    left anyone may have written. So with ``n`` proxies it is the n-th from the right, and without any the peer's own.
    """
    proxies = settings.TRUSTED_PROXIES
    told = request.META.get("HTTP_X_FORWARDED_FOR", "").split(",")
    if proxies and len(told) >= proxies:
        return client_network(told[-proxies])
    return client_network(request.META.get("REMOTE_ADDR", ""))


class BearerAuthentication(BaseAuthentication):
    """``Authorization: Bearer <token>``."""

    def authenticate(self, request: Request) -> tuple[User, DeviceToken] | None:
        """Return the login and its token; None when the header names another scheme."""
        token = _token_in(request)
        if token is None:
            return None
        now = timezone.now()
        found = valid_token(token_digest(token), now=now)
        if found is None:
            raise AuthenticationFailed(_("this token is not valid or has ended"))
        act_for([found.member.team_id])  # until the request ends
        record_use(found, now=now)
        return found.member.user, found

    def authenticate_header(self, request: Request) -> str:  # noqa: ARG002 - the framework's shape
        """Return the challenge that makes the answer a 401."""
        return SCHEME


def device_token(request: Request) -> DeviceToken:
    """Return the token the request came with."""
    return cast("DeviceToken", request.auth)


def member_of(request: Request) -> Member:
    """Return whose place in which team the token is for."""
    return device_token(request).member


def device_id(request: Request) -> UUID:
    """Return the device id under which edits made by REST are kept."""
    return device_token(request).id


def caller_of(request: HttpRequest | Request) -> Caller:
    """Return where a sign-in comes from: its address and, if it still sends its last token, which device it is."""
    login, device = known_device(token_digest(_token_in(request) or ""))
    return Caller(address=client_ip(request), login=login, device=device)


class BearerInDocument(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]  # the library's base is untyped
    """How the OpenAPI document names the token."""

    target_class = BearerAuthentication
    name = "bearer"

    def get_security_definition(self, auto_schema: object) -> dict[str, str]:  # noqa: ARG002 - the library's shape
        """Return the scheme."""
        return {"type": "http", "scheme": "bearer"}
