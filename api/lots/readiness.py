"""Whether a lot's roast has rested enough."""

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.conditional import conditional_response, id_from_path
from api.http.dataclass_answers import one_of
from api.http.openapi import conditional_get
from lots.schema import Field, InvalidValue, clean_value, query_value
from lots.wording import field_problem
from tastings.answers.readiness import ReadinessOfLot, UnknownRoastDay, readiness_answer
from tastings.queries.readiness import readiness_for
from teams.errors import Invalid

LEVEL = Field(name="level", kind="number", low=0, high=10)


class ReadinessView(APIView):
    """Whether a lot's roast has rested enough."""

    @conditional_get(
        one_of("Readiness", ReadinessOfLot, UnknownRoastDay),
        [404, 422],
        operation_id="lots_readiness_retrieve",
        parameters=[OpenApiParameter("level", float, description="roast that it should be under, points, 0 to 10")],
    )
    def get(self, request: Request, lot_id: str) -> Response:
        """Show whether a roasted lot has rested long enough today: whether its roast is under ``level``.

        By default the level is one that the team is likely to like: its ``ready_roast``, set off by the lot's degree of
        roast, and moved by the liking of its other lots of that degree. The answer says which it was.
        """
        level: float | None = None
        if (text := request.query_params.get("level")) is not None:
            try:
                level = float(str(clean_value(LEVEL, query_value(LEVEL, str(text)))))
            except InvalidValue as error:
                raise Invalid(problems=[field_problem("level", error.fault)]) from error
        lot, today = id_from_path(lot_id), timezone.now().date()
        known = readiness_for(member_of(request), lot, today=today, level=level)
        return conditional_response(request, readiness_answer(lot, known.readiness, level=known.level))
