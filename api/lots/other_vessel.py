"""How strong a lot would be in another vessel."""

from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.conditional import conditional_response, id_from_path
from api.http.dataclass_answers import answer_of
from api.http.openapi import conditional_get, query_parameter
from api.lots.guide import POT, pot_from
from tastings.answers.forecast import OtherVessel, other_vessel_answer
from tastings.maths.guide.pots import PotError
from tastings.queries.forecasts import vessel_forecast_for
from tastings.wording.guide import pot_problem
from teams.errors import Invalid, Problem

AS_TASTED = "default as the lot was tasted most often"
VESSEL = {
    **dict.fromkeys(("vessel_material", "vessel_ml", "warmed", "leaf_g", "kettle_c", "altitude_m"), AS_TASTED),
    "vessel_g": "with lid; uncertain when left out",
}
"""Query parameters; leaf by default as much per water."""


class LotOtherVessel(APIView):
    """How strong a lot would be in another vessel."""

    @conditional_get(
        answer_of(OtherVessel),
        [404, 422],
        operation_id="lots_other_vessel_retrieve",
        parameters=[query_parameter(name, POT[name][0], text) for name, text in VESSEL.items()],
    )
    def get(self, request: Request, lot_id: str) -> Response:
        """Foretell a lot's cups in another vessel with the same steeps, and how probably one notices a difference."""
        member, lot, pot = member_of(request), id_from_path(lot_id), pot_from(request, VESSEL)
        try:
            forecast = vessel_forecast_for(member, lot, pot=pot)
        except PotError as error:
            raise Invalid(problems=[Problem(error.field, error.code, pot_problem(error))]) from error
        return conditional_response(request, other_vessel_answer(lot, forecast))
