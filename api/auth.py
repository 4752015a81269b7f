"""Who calls: a device's bearer token."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast
from uuid import UUID

from django.utils import timezone
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from teams.actions.people import digest_of, mark_used
from teams.queries.people import token_with

if TYPE_CHECKING:
    from teams.models import DeviceToken, Member, User

SCHEME = "Bearer"


class BearerAuthentication(BaseAuthentication):
    """``Authorization: Bearer <token>``."""

    def authenticate(self, request: Request) -> tuple[User, DeviceToken] | None:
        """Return the login and its token; None when the header names another scheme."""
        scheme, _, token = request.META.get("HTTP_AUTHORIZATION", "").partition(" ")
        if scheme.lower() != SCHEME.lower():
            return None
        now = timezone.now()
        found = token_with(digest_of(token.strip()), now=now)
        if found is None:
            raise AuthenticationFailed("this token is not valid or has ended")
        mark_used(found, now=now)
        return found.member.user, found

    def authenticate_header(self, request: Request) -> str:  # noqa: ARG002 - the framework's shape
        """Return the challenge that makes the answer a 401."""
        return SCHEME


def token_of(request: Request) -> DeviceToken:
    """Return the token the request came with."""
    return cast("DeviceToken", request.auth)


def member_of(request: Request) -> Member:
    """Return whose place in which team the token is for."""
    return token_of(request).member


def device_of(request: Request) -> UUID:
    """Return the device id under which edits made by REST are kept."""
    return token_of(request).id


class BearerInDocument(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]  # the library's base is untyped
    """How the OpenAPI document names the token."""

    target_class = BearerAuthentication
    name = "bearer"

    def get_security_definition(self, auto_schema: object) -> dict[str, str]:  # noqa: ARG002 - the library's shape
        """Return the scheme."""
        return {"type": "http", "scheme": "bearer"}
