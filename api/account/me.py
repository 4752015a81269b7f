"""The caller."""

from __future__ import annotations

from typing import TYPE_CHECKING

from drf_spectacular.utils import extend_schema_field, extend_schema_serializer
from rest_framework import serializers as s
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import device_token, member_of
from api.http.conditional import conditional_response
from api.http.openapi import conditional_get
from api.people.shops import ShopSerializer
from teams.queries.people import memberships_of

if TYPE_CHECKING:
    from teams.models import Member


class TeamNameSerializer(s.Serializer[object]):
    """A team by its name."""

    id = s.UUIDField()
    name = s.CharField()


@extend_schema_serializer(component_name="Place")
class MembershipSerializer(s.Serializer[object]):
    """One of the login's memberships."""

    id = s.UUIDField(source="team_id")
    name = s.CharField(source="team.name")
    role = s.CharField()


class TokenEndSerializer(s.Serializer[object]):
    """When the token of the request ends."""

    id = s.UUIDField(help_text="as in the list of devices")
    expires_at = s.DateTimeField(help_text="moves on while the device is in use, at most once a day")
    must_sign_in_by = s.DateTimeField(help_text="when the token ends whatever its use")


class MeSerializer(s.Serializer[object]):
    """A membership with its login."""

    user = s.UUIDField(source="user_id")
    name = s.CharField(source="user")
    username = s.CharField(source="user.username")
    email = s.CharField(
        source="user.email", allow_blank=True, help_text="where a link goes when the password is forgotten"
    )
    email_verified = s.BooleanField(
        source="user.has_verified_email", read_only=True, help_text="without that it receives no link for a password"
    )
    team = TeamNameSerializer()
    shop = ShopSerializer(allow_null=True)
    role = s.CharField()
    teams = s.SerializerMethodField()
    token = s.SerializerMethodField()

    @extend_schema_field(MembershipSerializer(many=True))
    def get_teams(self, member: Member) -> object:
        """Return the memberships of the login."""
        return MembershipSerializer(memberships_of(member.user), many=True).data

    @extend_schema_field(TokenEndSerializer())
    def get_token(self, member: Member) -> object:  # noqa: ARG002 - the framework gives it
        """Return when the token of the request ends."""
        return TokenEndSerializer(self.context["token"]).data


class Me(APIView):
    """The caller."""

    @conditional_get(MeSerializer)
    def get(self, request: Request) -> Response:
        """Show the caller: login, role, shop, token, and the teams that the login belongs to."""
        return conditional_response(
            request, MeSerializer(member_of(request), context={"token": device_token(request)}).data
        )
