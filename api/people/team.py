"""The team itself, and what it uses of what it may."""

from __future__ import annotations

from django.utils import timezone
from django.utils.translation import gettext_lazy
from rest_framework import serializers as s
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.bodies import BodySerializer, StrictField, StrictIdField, StrictNameField, validated_body
from api.http.conditional import conditional_response
from api.http.dataclass_answers import answer_of
from api.http.openapi import conditional_get, operation
from lots.schema import InvalidValue, gettext_noop
from tastings.answers.usage import TeamUse, team_use
from tastings.queries.quotas import usage_of_team
from teams.actions.people import check_may_change_team, update_team
from teams.actions.roles import transfer_ownership
from teams.time_zones import time_zone_names

_READY_ROAST = (
    "roast under which a medium roast counts as rested, points, 0 to 10; other degrees of roast are set off from it,"
    " and what the team likes moves it"
)


class RoastLevel(StrictField, s.FloatField):
    """A roast on the scale of 0 to 10."""

    def clean(self, value: object) -> float:
        """Return the number."""
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 10:
            raise InvalidValue("range", gettext_noop("must be a number from 0 to 10"))
        return float(value)


class StrictTimeZoneField(StrictField, s.CharField):
    """A name of the IANA Time Zone Database."""

    def clean(self, value: object) -> str:
        """Return the name."""
        if not isinstance(value, str) or value not in time_zone_names():
            raise InvalidValue("choice", gettext_noop("is not a time zone of the IANA database"))
        return value


class TeamSerializer(s.Serializer[object]):
    """A team."""

    id = s.UUIDField()
    name = s.CharField()
    ready_roast = s.FloatField(help_text=_READY_ROAST)
    time_zone = s.CharField(
        help_text="in which the team's pages show moments, as Europe/Berlin; the API's are in UTC whatever it is"
    )


class TeamChangeSerializer(BodySerializer):
    """What may be changed of a team; null leaves it."""

    unknown = gettext_lazy("is not part of a team")
    name = StrictNameField(required=False, allow_null=True, max_length=120)
    ready_roast = RoastLevel(required=False, allow_null=True, min_value=0, max_value=10, help_text=_READY_ROAST)
    time_zone = StrictTimeZoneField(
        required=False, allow_null=True, max_length=64, help_text="a name of the IANA Time Zone Database"
    )


class HandOverSerializer(BodySerializer):
    """Who is to run the team."""

    to = StrictIdField(help_text="the login of the owner to be; the caller becomes a buyer")


class TeamDetail(APIView):
    """The team of the caller's token."""

    @conditional_get(TeamSerializer)
    def get(self, request: Request) -> Response:
        """Show the team."""
        return conditional_response(request, TeamSerializer(member_of(request).team).data)

    @operation({200: TeamSerializer}, [403], request=TeamChangeSerializer)
    def patch(self, request: Request) -> Response:
        """Rename the team, or choose its time zone or its level for a medium roast; owners only."""
        member = member_of(request)
        check_may_change_team(member)
        data = validated_body(request, TeamChangeSerializer)
        return Response(TeamSerializer(update_team(member, **data)).data)


class HandOver(APIView):
    """The team's ownership."""

    @operation({204: None}, [403, 404], operation_id="team_hand_over", request=HandOverSerializer)
    def post(self, request: Request) -> Response:
        """Hand the team over: the member ``to`` becomes an owner, the caller a buyer; owners only."""
        transfer_ownership(member_of(request), **validated_body(request, HandOverSerializer), now=timezone.now())
        return Response(status=204)


class TeamUsage(APIView):
    """Photos, uploads, notes, other records and event streams, beside their limits."""

    @conditional_get(answer_of(TeamUse), [403], operation_id="team_usage")
    def get(self, request: Request) -> Response:
        """Show how much the team and each member use and have left; owners only."""
        return conditional_response(request, team_use(usage_of_team(member_of(request))))
