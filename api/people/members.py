"""The team's members."""

from __future__ import annotations

from django.utils import timezone
from django.utils.translation import gettext_lazy
from rest_framework import serializers as s
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.bodies import BodySerializer, StrictChoiceField, StrictIdField, validated_body
from api.http.conditional import conditional_response, id_from_path
from api.http.openapi import conditional_get, operation, paginated
from teams.actions.roles import change_member, remove_member
from teams.queries.people import ROLES, member_for, members_of


class MemberSerializer(s.Serializer[object]):
    """A membership, by the login's id."""

    id = s.UUIDField(source="user_id")
    name = s.CharField(source="user")
    username = s.CharField(source="user.username")
    role = s.ChoiceField(choices=ROLES)
    shop = s.UUIDField(source="shop_id", allow_null=True)
    joined_at = s.DateTimeField()
    left_at = s.DateTimeField(allow_null=True)


class MemberChangeSerializer(BodySerializer):
    """What may be changed of a member."""

    unknown = gettext_lazy("cannot be changed here")
    role = StrictChoiceField(required=False, choices=ROLES)
    shop = StrictIdField(required=False)


class Members(APIView):
    """The team's members, those who left included."""

    @conditional_get(paginated(MemberSerializer, "MemberPage"), operation_id="member_list")
    def get(self, request: Request) -> Response:
        """List the members in the order they joined."""
        members = MemberSerializer(members_of(member_of(request)), many=True)
        return conditional_response(request, {"results": members.data, "next": None})


class MemberDetail(APIView):
    """One member, by the login's id."""

    @conditional_get(MemberSerializer, [404], operation_id="member_read")
    def get(self, request: Request, user_id: str) -> Response:
        """Show a member."""
        return conditional_response(
            request, MemberSerializer(member_for(member_of(request), id_from_path(user_id))).data
        )

    @operation({200: MemberSerializer}, [403, 404], request=MemberChangeSerializer)
    def patch(self, request: Request, user_id: str) -> Response:
        """Give a member another role or shop; owners only, and one owner always stays."""
        member, user = member_of(request), id_from_path(user_id)
        member_for(member, user)
        data = validated_body(request, MemberChangeSerializer)
        return Response(MemberSerializer(change_member(member, user=user, **data, now=timezone.now())).data)

    @operation({204: None}, [403, 404])
    def delete(self, request: Request, user_id: str) -> Response:
        """Leave the team, or as an owner remove a member. Their notes stay; their devices are signed out at once."""
        remove_member(member_of(request), user=id_from_path(user_id), now=timezone.now())
        return Response(status=204)
