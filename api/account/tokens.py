"""Signing a device in and out, and the devices that are signed in."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers as s
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import caller_of, client_ip, device_token, member_of
from api.http.bodies import BodySerializer, StrictIdField, StrictNameField, StrictTextField, validated_body
from api.http.conditional import conditional_response, id_from_path
from api.http.openapi import BAD_BODY, ETAG, NOT_MODIFIED, operation, paginated, problem_responses
from teams.actions.login_throttle import Credentials
from teams.actions.passwords import sign_out_everywhere
from teams.actions.people import sign_out, sign_out_device
from teams.actions.signing_in import sign_in
from teams.queries.people import ROLES, tokens_of

if TYPE_CHECKING:
    from teams.models import DeviceToken, Member


class SignInSerializer(BodySerializer):
    """What a device signs in with."""

    username = StrictNameField()
    password = StrictTextField()
    device = StrictNameField(max_length=200, help_text="what to call this device in the list of devices")
    team = StrictIdField(required=False, allow_null=True, help_text="for a login of several teams")


class SignedInSerializer(s.Serializer[Any]):
    """A membership and, only this once, its token."""

    token = s.CharField()
    expires_at = s.DateTimeField()
    user = s.UUIDField()
    team = s.UUIDField()
    shop = s.UUIDField(allow_null=True)
    role = s.ChoiceField(choices=ROLES)


class DeviceSerializer(s.Serializer[Any]):
    """A device that is signed in."""

    id = s.UUIDField()
    device = s.CharField()
    created_at = s.DateTimeField()
    expires_at = s.DateTimeField()
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
            "user": member.user_id,
            "team": member.team_id,
            "shop": member.shop_id,
            "role": member.role,
        }
    )
    return Response(answer.data, status=201, headers={"Cache-Control": "no-store"})


class Tokens(APIView):
    """The devices that are signed in."""

    def get_permissions(self) -> Sequence[Any]:
        """Let anyone sign in."""
        return [AllowAny()] if self.request.method == "POST" else super().get_permissions()

    def get_authenticators(self) -> list[Any]:
        """Look at no token when one is asked for: an old one must not stand in the way."""
        return [] if getattr(self.request, "method", "POST") == "POST" else super().get_authenticators()

    @operation(parameters=[ETAG], responses={200: paginated(DeviceSerializer, "DevicePage"), **NOT_MODIFIED})
    def get(self, request: Request) -> Response:
        """List the caller's own devices."""
        found, current = tokens_of(member_of(request), now=timezone.now()), device_token(request).id
        devices = DeviceSerializer(found, many=True, context={"current": current})
        return conditional_response(request, {"results": devices.data, "next": None})

    @operation(request=SignInSerializer, responses={201: SignedInSerializer, **BAD_BODY}, auth=[])
    def post(self, request: Request) -> Response:
        """Sign a device in. A login of several teams may name one with ``team``."""
        data = validated_body(request, SignInSerializer)
        token, record = sign_in(
            Credentials(username=data["username"], password=data["password"]),
            device=data["device"],
            team=data.get("team"),
            caller=caller_of(request),
            now=timezone.now(),
        )
        return token_response(record.member, token=token, record=record)

    @operation(operation_id="sign_out_everywhere", responses={204: None})
    def delete(self, request: Request) -> Response:
        """Sign the login out everywhere: this and every other device, in all its teams, and every browser."""
        sign_out_everywhere(member_of(request).user, address=client_ip(request), now=timezone.now())
        return Response(status=204)


class TokenDetail(APIView):
    """One device."""

    @operation(responses={204: None, **problem_responses(404)})
    def delete(self, request: Request, token_id: str) -> Response:
        """Sign it out at once."""
        if token_id == "current":  # noqa: S105 - a word of the address
            sign_out(device_token(request))
        else:
            sign_out_device(member_of(request), id_from_path(token_id))
        return Response(status=204)
