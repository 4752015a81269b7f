"""Authentication by a device's bearer token."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast
from uuid import UUID

from django.conf import settings
from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication, SessionAuthentication
from rest_framework.exceptions import AuthenticationFailed, PermissionDenied
from rest_framework.request import Request

from teams.actions.login_throttle import Caller, network_key
from teams.actions.people import record_use, token_digest
from teams.errors import NotAllowed
from teams.queries.people import known_device
from teams.queries.tokens import token_by_digest
from teams.row_security import act_for, act_for_login, limit_changes_to

if TYPE_CHECKING:
    from teams.models import DeviceToken, Member, User

SCHEME = "Bearer"
SIGNED_IN = "leafspan.signed_in"
"""Key in META: the login whose valid token or browser session the request has."""
_FOUND = "leafspan.token"
"""Key in META: the token that was found; None for an invalid one."""
LOGIN_HEADER = "X-Leafspan-Login"
"""Header by which an answer names that login to the web server, which removes it."""


def bearer_token(request: HttpRequest | Request) -> str | None:
    """Return the bearer token of a request, valid or not; None when the header names another scheme."""
    scheme, _, token = request.META.get("HTTP_AUTHORIZATION", "").partition(" ")
    return token.strip() if scheme.lower() == SCHEME.lower() else None


def valid_token(request: HttpRequest) -> DeviceToken | None:
    """Return the valid token that a request comes with, with its member, login and team; looked up once."""
    token = bearer_token(request)
    if token is None:
        return None
    if _FOUND not in request.META:
        request.META[_FOUND] = token_by_digest(token_digest(token), now=timezone.now())
    return cast("DeviceToken | None", request.META[_FOUND])


def client_ip(request: HttpRequest | Request) -> str:
    """Return the client's network, as `client_network` finds it."""
    return client_network(request.META.get("REMOTE_ADDR", ""), request.META.get("HTTP_X_FORWARDED_FOR", ""))


def client_network(peer: str, forwarded: str) -> str:
    """Return a client's network, as `teams.actions.login_throttle.network_key` counts it.

    Each of our proxies appends the address of its peer to ``X-Forwarded-For``; anyone can write what stands further to
    the left. So with ``n`` proxies it is the n-th from the right. Without proxies, or if no address stands there, it is
    the address of the peer: a client without an address would be a client without limits.
    """
    proxies = settings.TRUSTED_PROXIES
    entries = forwarded.split(",")
    named = network_key(entries[-proxies]) if 0 < proxies <= len(entries) else ""
    return named or network_key(peer)


class BearerAuthentication(BaseAuthentication):
    """``Authorization: Bearer <token>``."""

    def authenticate(self, request: Request) -> tuple[User, DeviceToken] | None:
        """Return the login and its token; None when the header names another scheme."""
        if bearer_token(request) is None:
            return None
        token = valid_token(request._request)  # noqa: SLF001 - DRF's way to Django's request
        if token is None:
            raise AuthenticationFailed(_("this token is not valid or has ended"))
        act_for([token.member.team_id])  # until the request ends
        act_for_login(token.member.user_id)
        limit_changes_to(token.member.limited_to)
        record_use(token, now=timezone.now())
        request._request.META[SIGNED_IN] = str(token.member.user_id)  # noqa: SLF001
        return token.member.user, token

    def authenticate_header(self, request: Request) -> str:  # noqa: ARG002 - the framework's shape
        """Return the challenge that makes the answer a 401."""
        return SCHEME


class BrowserSession(SessionAuthentication):
    """The session of a browser that is signed in, with Django's protection against forged requests."""

    def authenticate(self, request: Request) -> tuple[User, None] | None:
        """Return the login of the session; None for none."""
        signed_in = super().authenticate(request)
        return signed_in and (cast("User", signed_in[0]), None)

    def authenticate_header(self, request: Request) -> str:  # noqa: ARG002 - the framework's shape
        """Return the challenge that makes the answer a 401."""
        return SCHEME

    def enforce_csrf(self, request: Request) -> None:
        """Raise NotAllowed unless the request carries the token of the cookie ``csrftoken``."""
        try:
            super().enforce_csrf(request)
        except PermissionDenied as error:
            raise NotAllowed(_("send the cookie csrftoken in the header X-CSRFToken")) from error


def device_token(request: Request) -> DeviceToken:
    """Return the token the request came with."""
    return cast("DeviceToken", request.auth)


def member_of(request: Request) -> Member:
    """Return the membership that the token is for."""
    return device_token(request).member


def device_id(request: Request) -> UUID:
    """Return the device id that is stored with edits made by REST."""
    return device_token(request).id


def caller_of(request: HttpRequest | Request) -> Caller:
    """Return who signs in: the address and, if the last token is sent along, the device."""
    login, device = known_device(token_digest(bearer_token(request) or ""))
    return Caller(address=client_ip(request), login=login, device=device)


class BrowserSessionScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]  # as below
    """The cookie of a browser's session in the OpenAPI document."""

    target_class = BrowserSession
    name = "browser_session"

    def get_security_definition(self, auto_schema: object) -> dict[str, str]:  # noqa: ARG002 - the library's shape
        """Return the scheme."""
        return {"type": "apiKey", "in": "cookie", "name": settings.SESSION_COOKIE_NAME}


class BearerScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]  # the library's base is untyped
    """The security scheme of the OpenAPI document."""

    target_class = BearerAuthentication
    name = "bearer"

    def get_security_definition(self, auto_schema: object) -> dict[str, str]:  # noqa: ARG002 - the library's shape
        """Return the scheme."""
        return {"type": "http", "scheme": "bearer"}
