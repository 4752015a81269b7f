"""Which lots to taste next."""

from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.conditional import conditional_response
from api.http.dataclass_answers import answer_of
from api.http.openapi import ETAG, NOT_MODIFIED, operation
from tastings.answers.next_tastings import NextTastings, next_tastings_answer
from tastings.queries.next_tastings import tasting_plan


class TeamNextTastings(APIView):
    """Which lots to taste next."""

    @operation(
        operation_id="next_tastings_retrieve",
        parameters=[ETAG],
        responses={200: answer_of(NextTastings), **NOT_MODIFIED},
    )
    def get(self, request: Request) -> Response:
        """Show which of the team's lots to taste next and what that would settle: samples to be decided first."""
        return conditional_response(request, next_tastings_answer(tasting_plan(member_of(request))))
