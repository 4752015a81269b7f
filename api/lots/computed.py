"""What is computed of a lot, of the team's lots or of its tasters, where the query has no parameters."""

from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.conditional import conditional_response, id_from_path
from api.http.dataclass_answers import answer_of, one_of
from api.http.openapi import conditional_get
from tastings.answers.arrival import ArrivalAnswer, ArrivalWithoutSample, arrival_answer
from tastings.answers.body_feeling import BodyFeeling, body_feeling_answer
from tastings.answers.development import DevelopmentAnswer, development_answer
from tastings.answers.next_tastings import NextTastings, next_tastings_answer
from tastings.answers.other_harvests import OtherHarvests, other_harvests_answer
from tastings.answers.panel import Panel, TasterCalibration, calibration_answer, panel_answer
from tastings.queries.arrivals import arrival_check_for
from tastings.queries.body_feeling import body_feeling_for
from tastings.queries.developments import development_for, labels_of
from tastings.queries.next_tastings import tasting_plan
from tastings.queries.other_harvests import other_harvests_for
from tastings.queries.panels import panel_of, taster_calibration, tasters_shown


class DevelopmentView(APIView):
    """How a lot's flavour develops over infusions."""

    @conditional_get(answer_of(DevelopmentAnswer, name="Development"), [404], operation_id="lots_development_retrieve")
    def get(self, request: Request, lot_id: str) -> Response:
        """Show how a lot's flavour develops over infusions; ``stale`` while a change is not in the figures yet."""
        member = member_of(request)
        development = development_for(member, id_from_path(lot_id))
        # No tag of the figures alone: the sentence has the team's labels, which change without them.
        return conditional_response(request, development_answer(development, labels=labels_of(member)))


class LotBodyFeeling(APIView):
    """What tasters reported to feel in the body."""

    @conditional_get(answer_of(BodyFeeling), [404], operation_id="lots_body_feeling_retrieve")
    def get(self, request: Request, lot_id: str) -> Response:
        """Show which words tasters noted at the moment ``body``, by how many, and how far they agree."""
        member, lot = member_of(request), id_from_path(lot_id)
        answer = body_feeling_answer(lot, body_feeling_for(member, lot), labels=labels_of(member))
        return conditional_response(request, answer)


class LotOtherHarvests(APIView):
    """A lot beside the other harvests of its producer."""

    @conditional_get(answer_of(OtherHarvests), [404], operation_id="lots_other_harvests_retrieve")
    def get(self, request: Request, lot_id: str) -> Response:
        """Compare a lot with its producer's lots of the same kind from other years or seasons, the latest three."""
        member = member_of(request)
        harvests = other_harvests_for(member, id_from_path(lot_id))
        return conditional_response(request, other_harvests_answer(harvests, labels=labels_of(member)))


class LotArrivalCheck(APIView):
    """Whether an arrived lot is the tea of its sample."""

    @conditional_get(
        one_of("ArrivalCheck", ArrivalAnswer, ArrivalWithoutSample), [404], operation_id="lots_arrival_check_retrieve"
    )
    def get(self, request: Request, lot_id: str) -> Response:
        """Compare a bought lot with its sample, and show the triangle tests of the two."""
        return conditional_response(
            request, arrival_answer(arrival_check_for(member_of(request), id_from_path(lot_id)))
        )


class TeamNextTastings(APIView):
    """Which lots to taste next."""

    @conditional_get(answer_of(NextTastings), operation_id="next_tastings_retrieve")
    def get(self, request: Request) -> Response:
        """Show which of the team's lots to taste next and what that would settle: samples to be decided first."""
        return conditional_response(request, next_tastings_answer(tasting_plan(member_of(request))))


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
