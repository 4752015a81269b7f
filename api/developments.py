"""What is computed of a lot."""

from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.conditional import id_in_address, tagged
from tastings.queries.developments import development_for


class DevelopmentOf(APIView):
    """How a lot's flavour develops over infusions."""

    def get(self, request: Request, lot_id: str) -> Response:
        """Return the stored figures; ``stale`` while a change is not in them yet."""
        figures = development_for(member_of(request), id_in_address(lot_id))
        return tagged(request, figures.body, tag=figures.tag)
