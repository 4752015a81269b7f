"""A lot beside the other harvests of its producer."""

from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.conditional import conditional_response, id_from_path
from api.http.dataclass_answers import answer_of
from api.http.openapi import ETAG, NOT_MODIFIED, operation, problem_responses
from tastings.answers.other_harvests import OtherHarvests, other_harvests_answer
from tastings.queries.developments import labels_of
from tastings.queries.other_harvests import other_harvests_for


class LotOtherHarvests(APIView):
    """A lot beside the other harvests of its producer."""

    @operation(
        operation_id="lots_other_harvests_retrieve",
        parameters=[ETAG],
        responses={200: answer_of(OtherHarvests), **NOT_MODIFIED, **problem_responses(404)},
    )
    def get(self, request: Request, lot_id: str) -> Response:
        """Compare a lot with its producer's lots of the same kind from other years or seasons, the latest three."""
        member = member_of(request)
        harvests = other_harvests_for(member, id_from_path(lot_id))
        return conditional_response(request, other_harvests_answer(harvests, labels=labels_of(member)))
