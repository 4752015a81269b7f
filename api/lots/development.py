"""How a lot's flavour develops over infusions."""

from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.answers import answer_of
from api.http.auth import member_of
from api.http.conditional import id_in_address, tagged
from api.http.openapi import ETAG, NOT_MODIFIED, described, problem
from tastings.answers.development import DevelopmentAnswer, development_answer
from tastings.queries.developments import development_for, labels_of


class LotDevelopment(APIView):
    """How a lot's flavour develops over infusions."""

    @described(
        operation_id="lots_development_retrieve",
        parameters=[ETAG],
        responses={200: answer_of(DevelopmentAnswer), **NOT_MODIFIED, **problem(404)},
    )
    def get(self, request: Request, lot_id: str) -> Response:
        """Return the stored figures; ``stale`` while a change is not in them yet."""
        member = member_of(request)
        found = development_for(member, id_in_address(lot_id))
        return tagged(request, development_answer(found, labels=labels_of(member)), tag=found.tag)
