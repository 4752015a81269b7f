"""How to brew a lot in the pot at hand, and how strong it would be in another vessel."""

from typing import Any

from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.conditional import conditional_response, id_from_path
from api.http.dataclass_answers import answer_of
from api.http.openapi import conditional_get, query_parameter
from lots.schema import Field, InvalidValue, clean_value, query_value
from lots.wording import field_problem
from tastings.answers.forecast import OtherVessel, other_vessel_answer
from tastings.answers.guide import BrewGuide, brew_guide_answer
from tastings.maths.guide.pots import CUP_RANGE_ML, MOST_GUESTS, STYLES, PotError, PotRequest
from tastings.queries.forecasts import vessel_forecast_for
from tastings.queries.guides import guide_for, in_named_pot
from tastings.schemas import INFUSION, SESSION
from tastings.wording.guide import pot_problem
from teams.errors import Invalid, Problem

_SESSION, _INFUSION = SESSION.by_name(), INFUSION.by_name()
POT: dict[str, tuple[Field, str]] = {
    "leaf_g": (
        _SESSION["leaf_g"],
        "default as the lot was tasted, to half a gram, below 60 ml to a tenth; for long_mug worked out",
    ),
    "vessel_ml": (_SESSION["vessel_ml"], "default that of the shop's usual pot, else 110; for long_mug 300"),
    "vessel_material": (_SESSION["vessel_material"], "default that of the shop's usual pot, else porcelain"),
    "vessel_g": (_SESSION["vessel_g"], "with lid; estimated from volume and material when left out"),
    "warmed": (_SESSION["warmed"], "default true, for long_mug false"),
    "altitude_m": (_SESSION["altitude_m"], "lowers the boiling point"),
    "kettle_c": (_INFUSION["kettle_c"], "50 to 100, default as the lot was tasted: the median"),
    "pour_s": (
        _INFUSION["pour_s"],
        "how long a small_pot takes to empty, at most 300; default that of the pot, else 5",
    ),
    "style": (
        Field(name="style", kind="choice", choices=STYLES),
        (
            "small_pot (default): many infusions; long_mug: one, with little leaf; standard_bowl: ISO 3103;"
            " covered_bowl: GB/T 23776. The last two take altitude_m only (standard_bowl also vessel_ml, 310 or 150)"
        ),
    ),
    "guests": (
        Field(name="guests", kind="integer", low=1, high=MOST_GUESTS),
        "1 to 200, default 1; small_pot and long_mug",
    ),
    "cup_ml": (
        Field(name="cup_ml", kind="number", low=CUP_RANGE_ML[0], high=CUP_RANGE_ML[1]),
        "what each guest of a small_pot gets of each infusion; default all of it for one, 50 for more",
    ),
}
"""Query parameters of the pot and the table; fields and limits are those of a session and an infusion."""


class LotBrewGuide(APIView):
    """How to brew a lot in the pot at hand."""

    @conditional_get(
        answer_of(BrewGuide),
        [404, 422],
        operation_id="lots_brew_guide_retrieve",
        parameters=[query_parameter(name, field, text) for name, (field, text) in POT.items()],
    )
    def get(self, request: Request, lot_id: str) -> Response:
        """Show how to brew a lot: steep times, leaf and water, caffeine, cost. Scalding water: see the cautions."""
        member, lot = member_of(request), id_from_path(lot_id)
        pot = in_named_pot(member, pot_from(request))
        try:
            guide = guide_for(member, lot, pot=pot)
        except PotError as error:
            raise Invalid(problems=[Problem(error.field, error.code, pot_problem(error))]) from error
        return conditional_response(request, brew_guide_answer(guide))


def pot_from(request: Request) -> PotRequest:
    """Read the pot from the query, by parameters of :data:`POT`; a field that is left out is None."""
    pot: dict[str, Any] = {}  # each of its field's type
    problems: list[Problem] = []
    for name, text in request.query_params.items():
        field, _description = POT[name]
        try:
            pot[name] = clean_value(field, query_value(field, str(text)))
        except InvalidValue as error:
            problems.append(field_problem(name, error.fault))
    if problems:
        raise Invalid(problems=problems)
    return PotRequest(**{name: value for name, value in pot.items() if value is not None})


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
        member, lot, pot = member_of(request), id_from_path(lot_id), pot_from(request)
        try:
            forecast = vessel_forecast_for(member, lot, pot=pot)
        except PotError as error:
            raise Invalid(problems=[Problem(error.field, error.code, pot_problem(error))]) from error
        return conditional_response(request, other_vessel_answer(lot, forecast))
