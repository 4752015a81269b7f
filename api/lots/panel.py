"""How the team's tasters use the scale, and how far they agree."""

from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.conditional import conditional_response, id_from_path
from api.http.dataclass_answers import answer_of
from api.http.openapi import conditional_get
from tastings.answers.panel import Panel, TasterCalibration, calibration_answer, panel_answer
from tastings.queries.panels import panel_of, taster_calibration, tasters_shown


class CalibrationView(APIView):
    """One taster's scale, repeatability, agreement and discrimination, by descriptor."""

    @conditional_get(
        answer_of(TasterCalibration, name="Calibration"), [403, 404], operation_id="tasters_calibration_retrieve"
    )
    def get(self, request: Request, taster_id: str) -> Response:
        """Show how a taster uses the scale; to that taster, buyers and owners."""
        taster = id_from_path(taster_id)
        return conditional_response(request, calibration_answer(taster_calibration(member_of(request), taster), taster))


class PanelView(APIView):
    """The tasters together."""

    @conditional_get(answer_of(Panel), operation_id="panel_retrieve")
    def get(self, request: Request) -> Response:
        """Show how far the team's tasters agree by descriptor, the finish line, and the tasters the caller may see."""
        member = member_of(request)
        panel = panel_of(member.team_id)
        return conditional_response(request, panel_answer(panel, tasters=tasters_shown(member, panel)))
