"""A signed cookie marks a browser that a login has used, so that guesses from elsewhere do not slow it down."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.conf import settings
from django.core.signing import BadSignature, TimestampSigner
from django.http import HttpRequest, HttpResponseBase
from django.utils.crypto import get_random_string

from api.http.auth import client_ip
from api.http.conditional import id_in_address
from teams.actions.sign_in_limits import KNOWN_FOR, Caller
from teams.errors import NotHere

if TYPE_CHECKING:
    from teams.models import User

COOKIE = "known_browser"
_signer = TimestampSigner(salt="api.http.browsers")


def caller_from_cookie(request: HttpRequest) -> Caller:
    """Return who signs in by a page: the address and, by the cookie, the browser."""
    address = client_ip(request)
    try:
        login, _, device = _signer.unsign(request.COOKIES.get(COOKIE, ""), max_age=KNOWN_FOR).partition(".")
        return Caller(address=address, login=id_in_address(login), device=device)
    except (BadSignature, NotHere):
        return Caller(address=address)


def remember_browser(response: HttpResponseBase, user: User) -> None:
    """Set the cookie that marks the browser as used by this login; it signs nobody in."""
    response.set_cookie(
        COOKIE,
        _signer.sign(f"{user.id}.{get_random_string(22)}"),
        max_age=KNOWN_FOR,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )
