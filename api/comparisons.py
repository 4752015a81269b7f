"""Lots, or one lot's pots, side by side."""

from uuid import UUID

from django.utils.translation import gettext as _
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.conditional import conditional_response, id_from_path
from tastings.queries.comparisons import compare_lots, compare_within
from teams.errors import Invalid, Problem


class Compare(APIView):
    """Curves on the same even brew, and for each pair who outlasts, is stronger, is liked more."""

    def get(self, request: Request) -> Response:
        """Compare ``lots=<id>,<id>,…``, or one ``lot=<id>`` parted ``by`` vessel_material, shop or water."""
        member, asked = member_of(request), request.query_params
        unknown = [
            Problem(name[:80], "unknown_field", _("lots, or lot and by"))
            for name in asked.keys() - {"lots", "lot", "by"}
        ]
        if unknown or ("lots" in asked) == ("lot" in asked):
            raise Invalid(
                _("name lots, or one lot and by"),
                problems=unknown or [Problem("lots", "required", _("lots, or lot and by"))],
            )
        if "lots" in asked:
            lots: list[UUID] = [id_from_path(text.strip()) for text in str(asked["lots"]).split(",")]
            found = compare_lots(member, lots)
        else:
            found = compare_within(member, id_from_path(str(asked["lot"])), by=str(asked.get("by", "vessel_material")))
        return conditional_response(request, found.as_json())
