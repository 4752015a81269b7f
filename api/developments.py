"""What is computed of a lot."""

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.conditional import conditional_response, id_from_path
from api.http.query import query_value
from lots.schema import Field, InvalidValue, clean_value
from lots.wording import field_problem
from tastings.queries.developments import development_for
from tastings.queries.verdicts import arrival_check_for, readiness_for
from teams.errors import Invalid


class DevelopmentOf(APIView):
    """How a lot's flavour develops over infusions."""

    def get(self, request: Request, lot_id: str) -> Response:
        """Return the stored figures; ``stale`` while a change is not in them yet."""
        figures = development_for(member_of(request), id_from_path(lot_id))
        return conditional_response(request, figures.body, tag=figures.tag)


class ReadinessOf(APIView):
    """Whether a lot's roast has rested enough."""

    def get(self, request: Request, lot_id: str) -> Response:
        """Answer for a ``level`` of roast, by default the team's own, as of today."""
        level: float | None = None
        if (text := request.query_params.get("level")) is not None:
            try:
                level = float(str(clean_value(_ROAST, query_value(_ROAST, str(text)))))
            except InvalidValue as error:
                raise Invalid(problems=[field_problem("level", error.fault)]) from error
        lot = id_from_path(lot_id)
        return conditional_response(
            request, readiness_for(member_of(request), lot, today=timezone.now().date(), level=level)
        )


class ArrivalCheckOf(APIView):
    """Whether an arrived lot is the tea of its sample."""

    def get(self, request: Request, lot_id: str) -> Response:
        """Compare the lot with the one it names as ``from_lot``, and show the triangle tests of the two."""
        return conditional_response(request, arrival_check_for(member_of(request), id_from_path(lot_id)))


_ROAST = Field(name="level", kind="number", low=0, high=10)
