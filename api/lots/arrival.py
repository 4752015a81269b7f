"""Whether an arrived lot is the tea of its sample."""

from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.conditional import conditional_response, id_from_path
from api.http.dataclass_answers import one_of
from api.http.openapi import ETAG, NOT_MODIFIED, operation, problem_responses
from tastings.answers.arrival import ArrivalAnswer, ArrivalWithoutSample, arrival_answer
from tastings.queries.arrivals import arrival_check_for


class LotArrivalCheck(APIView):
    """Whether an arrived lot is the tea of its sample."""

    @operation(
        operation_id="lots_arrival_check_retrieve",
        parameters=[ETAG],
        responses={
            200: one_of("ArrivalCheck", ArrivalAnswer, ArrivalWithoutSample),
            **NOT_MODIFIED,
            **problem_responses(404),
        },
    )
    def get(self, request: Request, lot_id: str) -> Response:
        """Compare a bought lot with its sample, and show the triangle tests of the two."""
        return conditional_response(
            request, arrival_answer(arrival_check_for(member_of(request), id_from_path(lot_id)))
        )
