"""How a lot's flavour develops over infusions."""

from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.conditional import conditional_response, id_from_path
from api.http.dataclass_answers import answer_of
from api.http.openapi import ETAG, NOT_MODIFIED, operation, problem_responses
from tastings.answers.development import DevelopmentAnswer, development_answer
from tastings.queries.developments import development_for, labels_of


class DevelopmentView(APIView):
    """How a lot's flavour develops over infusions."""

    @operation(
        operation_id="lots_development_retrieve",
        parameters=[ETAG],
        responses={200: answer_of(DevelopmentAnswer, name="Development"), **NOT_MODIFIED, **problem_responses(404)},
    )
    def get(self, request: Request, lot_id: str) -> Response:
        """Show how a lot's flavour develops over infusions; ``stale`` while a change is not in the figures yet."""
        member = member_of(request)
        development = development_for(member, id_from_path(lot_id))
        # No tag of the figures alone: the sentence has the team's labels, which change without them.
        return conditional_response(request, development_answer(development, labels=labels_of(member)))
