"""What a team uses of what it may."""

from __future__ import annotations

from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.conditional import conditional_response
from api.http.dataclass_answers import answer_of
from api.http.openapi import conditional_get
from tastings.answers.usage import TeamUse, team_use
from tastings.queries.quotas import usage_of_team


class TeamUsage(APIView):
    """Photos, uploads, notes, other records and event streams, beside their limits."""

    @conditional_get(answer_of(TeamUse), [403], operation_id="team_usage")
    def get(self, request: Request) -> Response:
        """Show how much the team and each member use and have left; owners only."""
        return conditional_response(request, team_use(usage_of_team(member_of(request))))
