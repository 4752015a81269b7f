"""What tasters reported to feel in the body."""

from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.conditional import conditional_response, id_from_path
from api.http.dataclass_answers import answer_of
from api.http.openapi import ETAG, NOT_MODIFIED, operation, problem_responses
from tastings.answers.body_feeling import BodyFeeling, body_feeling_answer
from tastings.queries.body_feeling import body_feeling_for
from tastings.queries.developments import labels_of


class LotBodyFeeling(APIView):
    """What tasters reported to feel in the body."""

    @operation(
        operation_id="lots_body_feeling_retrieve",
        parameters=[ETAG],
        responses={200: answer_of(BodyFeeling), **NOT_MODIFIED, **problem_responses(404)},
    )
    def get(self, request: Request, lot_id: str) -> Response:
        """Show which words tasters noted at the moment ``body``, by how many, and how far they agree."""
        member, lot = member_of(request), id_from_path(lot_id)
        answer = body_feeling_answer(lot, body_feeling_for(member, lot), labels=labels_of(member))
        return conditional_response(request, answer)
