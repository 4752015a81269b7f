"""How the team's tasters use the scale, and how far they agree."""

from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.conditional import conditional_response, id_from_path
from tastings.queries.panels import panel_for, taster_calibration


class CalibrationOf(APIView):
    """One taster's scale, repeatability, agreement and discrimination, by descriptor."""

    def get(self, request: Request, taster_id: str) -> Response:
        """Return it to the taster and to buyers and owners."""
        return conditional_response(request, taster_calibration(member_of(request), id_from_path(taster_id)))


class PanelOfTeam(APIView):
    """The tasters together."""

    def get(self, request: Request) -> Response:
        """Return agreement by descriptor, the finish line, and the tasters the caller may see."""
        return conditional_response(request, panel_for(member_of(request)))
