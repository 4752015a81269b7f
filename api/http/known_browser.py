"""A signed cookie marks a browser that a login has used, so that guesses from elsewhere do not slow it down."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.conf import settings
from django.core.signing import BadSignature, TimestampSigner
from django.http import HttpRequest, HttpResponseBase
from django.utils.crypto import get_random_string

from api.http.auth import client_ip
from api.http.conditional import id_from_path
from teams.actions.login_throttle import KNOWN_CLIENT_RETENTION, Caller
from teams.errors import NotFound

if TYPE_CHECKING:
    from teams.models import User

COOKIE = "known_browser"
_signer = TimestampSigner(salt="api.browsers")  # as in the cookies that browsers already have


def caller_from_cookie(request: HttpRequest) -> Caller:
    """Return who signs in by a page: the address and, by the cookie, the browser."""
    address = client_ip(request)
    try:
        login, _, device = _signer.unsign(request.COOKIES.get(COOKIE, ""), max_age=KNOWN_CLIENT_RETENTION).partition(
            "."
        )
        return Caller(address=address, login=id_from_path(login), device=device)
    except (BadSignature, NotFound):
        return Caller(address=address)


def set_known_browser_cookie(response: HttpResponseBase, user: User) -> None:
    """Set the cookie that marks the browser as used by this login; it signs nobody in."""
    response.set_cookie(
        COOKIE,
        _signer.sign(f"{user.id}.{get_random_string(22)}"),
        max_age=KNOWN_CLIENT_RETENTION,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )
