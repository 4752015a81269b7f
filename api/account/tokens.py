"""Signing a device in and out, and the devices that are signed in."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, cast

from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiParameter, PolymorphicProxySerializer, extend_schema_field
from rest_framework import serializers as s
from rest_framework.authentication import BaseAuthentication
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import BrowserSession, caller_of, client_ip, device_token, member_of
from api.http.bodies import BodySerializer, StrictIdField, StrictNameField, StrictTextField, body_of, validated_body
from api.http.conditional import conditional_response, id_from_path
from api.http.known_browser import caller_from_cookie
from api.http.openapi import conditional_get, operation, paginated
from api.http.sign_in_links import code_url, spelled
from teams.actions.login_throttle import Credentials
from teams.actions.passwords import sign_out_everywhere
from teams.actions.people import sign_out, sign_out_device
from teams.actions.sign_in_codes import create_sign_in_code, sign_in_by_code
from teams.actions.signing_in import sign_in, sign_in_from_browser
from teams.errors import Invalid, Problem
from teams.queries.people import ROLES, tokens_of

if TYPE_CHECKING:
    from rest_framework.permissions import _SupportsHasPermission

    from teams.models import DeviceToken, Member, User


CSRF_TOKEN = OpenApiParameter(
    "X-CSRFToken", str, OpenApiParameter.HEADER, required=True, description="the value of the cookie `csrftoken`"
)


class SignInSerializer(BodySerializer):
    """What a device signs in with."""

    username = StrictNameField()
    password = StrictTextField()
    device = StrictNameField(max_length=200, help_text="what to call this device in the list of devices")
    team = StrictIdField(required=False, allow_null=True, help_text="for a login of several teams")


class CodeSignInSerializer(BodySerializer):
    """What a device signs in with by a code."""

    code = StrictNameField(max_length=40, help_text="as shown to a member who is signed in; works once")
    device = StrictNameField(max_length=200, help_text="what to call this device in the list of devices")


class FromSessionSerializer(BodySerializer):
    """What the app in a browser that is signed in asks with."""

    device = StrictNameField(max_length=200, help_text="what to call this device in the list of devices")
    team = StrictIdField(required=False, allow_null=True, help_text="for a login of several teams")


SIGN_IN_BODY = PolymorphicProxySerializer(
    component_name="SignInBody", serializers=[SignInSerializer, CodeSignInSerializer], resource_type_field_name=None
)


class SignedInSerializer(s.Serializer[object]):
    """A membership and, only this once, its token."""

    token = s.CharField()
    expires_at = s.DateTimeField(help_text="moves on while the device is in use")
    must_sign_in_by = s.DateTimeField(help_text="when the token ends whatever its use")
    user = s.UUIDField()
    team = s.UUIDField()
    shop = s.UUIDField(allow_null=True)
    role = s.ChoiceField(choices=ROLES)


class DeviceSerializer(s.Serializer[object]):
    """A device that is signed in."""

    id = s.UUIDField()
    device = s.CharField()
    created_at = s.DateTimeField()
    expires_at = s.DateTimeField()
    must_sign_in_by = s.DateTimeField()
    last_used_at = s.DateTimeField(allow_null=True)
    current = s.SerializerMethodField()

    @extend_schema_field(s.BooleanField())
    def get_current(self, token: DeviceToken) -> bool:
        """Return whether it is the one that asks."""
        return bool(token.id == self.context["current"])


def token_response(member: Member, *, token: str | None, record: DeviceToken | None) -> Response:
    """Answer with a membership and, only this once, the token of a device that was signed in with it."""
    answer = SignedInSerializer(
        {
            "token": token,
            "expires_at": record.expires_at if record is not None else None,
            "must_sign_in_by": record.must_sign_in_by if record is not None else None,
            "user": member.user_id,
            "team": member.team_id,
            "shop": member.shop_id,
            "role": member.role,
        }
    )
    return Response(answer.data, status=201, headers={"Cache-Control": "no-store"})


class Tokens(APIView):
    """The devices that are signed in."""

    def get_permissions(self) -> Sequence[_SupportsHasPermission]:
        """Let anyone sign in."""
        return [AllowAny()] if self.request.method == "POST" else super().get_permissions()

    def get_authenticators(self) -> list[BaseAuthentication]:
        """Look at no token when one is asked for: an old one must not stand in the way."""
        return [] if getattr(self.request, "method", "POST") == "POST" else super().get_authenticators()

    @conditional_get(paginated(DeviceSerializer, "DevicePage"))
    def get(self, request: Request) -> Response:
        """List the caller's own devices."""
        tokens, current = tokens_of(member_of(request).user_id, now=timezone.now()), device_token(request).id
        devices = DeviceSerializer(tokens, many=True, context={"current": current})
        return conditional_response(request, {"results": devices.data, "next": None})

    @operation({201: SignedInSerializer}, request=SIGN_IN_BODY, auth=[])
    def post(self, request: Request) -> Response:
        """Sign a device in, by name and password or by a code. A login of several teams may name one with ``team``."""
        if "code" in body_of(request):
            return self._post_code(request)
        data = validated_body(request, SignInSerializer)
        token, record = sign_in(
            Credentials(username=data["username"], password=data["password"]),
            device=data["device"],
            team=data.get("team"),
            caller=caller_of(request),
            now=timezone.now(),
        )
        return token_response(record.member, token=token, record=record)

    def _post_code(self, request: Request) -> Response:
        sent = body_of(request)
        if "username" in sent or "password" in sent:
            raise Invalid(problems=[Problem("code", "one_of", _("either a code, or username and password"))])
        data = validated_body(request, CodeSignInSerializer)
        token, record = sign_in_by_code(
            data["code"], device=data["device"], caller=caller_of(request), now=timezone.now()
        )
        return token_response(record.member, token=token, record=record)

    @operation({204: None}, operation_id="sign_out_everywhere")
    def delete(self, request: Request) -> Response:
        """Sign the login out everywhere: this and every other device, in all its teams, and every browser."""
        sign_out_everywhere(member_of(request).user, address=client_ip(request), now=timezone.now())
        return Response(status=204)


class TokenFromSession(APIView):
    """A token for the app in a browser that is signed in."""

    authentication_classes = [BrowserSession]

    @operation(
        {201: SignedInSerializer},
        [403],
        operation_id="token_from_session",
        request=FromSessionSerializer,
        parameters=[CSRF_TOKEN],
    )
    def post(self, request: Request) -> Response:
        """Sign the app in by the browser's session. The header must repeat the cookie ``csrftoken``."""
        data = validated_body(request, FromSessionSerializer)
        token, record = sign_in_from_browser(
            cast("User", request.user),
            device=data["device"],
            team=data.get("team"),
            caller=caller_from_cookie(request._request),  # noqa: SLF001 - DRF's way to Django's request
            now=timezone.now(),
        )
        return token_response(record.member, token=token, record=record)


class SignInCodeSerializer(s.Serializer[object]):
    """A code, shown only this once."""

    code = s.CharField(help_text="8 characters with a hyphen; how it is typed does not matter")
    url = s.CharField(help_text="opens the app with the code in the fragment, which browsers send to no server")
    expires_at = s.DateTimeField()


class SignInCodes(APIView):
    """Codes that sign one more device of the caller in."""

    @operation({201: SignInCodeSerializer}, operation_id="sign_in_code_create", request=None)
    def post(self, request: Request) -> Response:
        """Make a code that signs a further device in. It works once within five minutes; the former one ends."""
        code, expires_at = create_sign_in_code(member_of(request), now=timezone.now())
        answer = {"code": spelled(code), "url": code_url(request, code), "expires_at": expires_at}
        return Response(SignInCodeSerializer(answer).data, status=201, headers={"Cache-Control": "no-store"})


class TokenDetail(APIView):
    """One device."""

    @operation({204: None}, [404])
    def delete(self, request: Request, token_id: str) -> Response:
        """Sign one device out at once; ``current`` is the one that asks."""
        if token_id == "current":  # noqa: S105 - a word of the address
            sign_out(device_token(request))
        else:
            sign_out_device(member_of(request).user_id, id_from_path(token_id))
        return Response(status=204)
