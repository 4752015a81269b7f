"""Lots, or one lot's pots, side by side."""

from uuid import UUID

from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.conditional import conditional_response
from api.http.dataclass_answers import answer_of
from api.http.openapi import conditional_get
from lots.schema import InvalidValue, clean_id
from tastings.answers.comparison import ComparisonAnswer, comparison_answer
from tastings.queries.comparisons import compare_lots, compare_within
from teams.errors import Invalid, Problem


class LotComparison(APIView):
    """Curves on the same even brew, and for each pair who outlasts, is stronger, is liked more."""

    @conditional_get(
        answer_of(ComparisonAnswer, name="Comparison"),
        [404, 422],
        operation_id="compare_retrieve",
        parameters=[
            OpenApiParameter(
                "lots", str, description="two to six ids, separated by commas; a refusal names the wrong ones"
            ),
            OpenApiParameter("lot", OpenApiTypes.UUID, description="one lot instead, parted by"),
            OpenApiParameter("by", str, description="vessel_material, shop or water"),
        ],
    )
    def get(self, request: Request) -> Response:
        """Compare lots, or the sessions of one lot by vessel, shop or water."""
        member, query = member_of(request), request.query_params
        if ("lots" in query) == ("lot" in query):
            problem = Problem("lots", "required", _("lots, or lot and by"))
            raise Invalid(_("name lots, or one lot and by"), problems=[problem])
        if "lots" in query:
            answer = compare_lots(member, [_id(text.strip(), name="lots") for text in str(query["lots"]).split(",")])
        else:
            lot = _id(str(query["lot"]), name="lot")
            answer = compare_within(member, lot, by=str(query.get("by", "vessel_material")))
        return conditional_response(request, comparison_answer(answer))


def _id(text: str, *, name: str) -> UUID:
    """Return the id; raise Invalid, with the name of the parameter and the text, for what is no id."""
    try:
        return UUID(clean_id(text))
    except InvalidValue as error:
        detail = _("%(text)s is no UUID") % {"text": text[:40] or '""'}
        raise Invalid(problems=[Problem(name, "id", detail)]) from error
