"""What is computed of a lot."""

import math
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.conditional import id_in_address, tagged
from lots.schema import Field, Unfit, clean
from lots.wording import problem_of
from tastings.maths.guide.pots import CUP_RANGE_ML, MOST_GUESTS, STYLES, Pot, PotError
from tastings.queries.developments import development_for
from tastings.queries.guides import guide_for
from tastings.queries.verdicts import arrival_check_for, readiness_for
from tastings.schemas import INFUSION, SESSION
from teams.errors import Invalid, Problem


class DevelopmentOf(APIView):
    """How a lot's flavour develops over infusions."""

    def get(self, request: Request, lot_id: str) -> Response:
        """Return the stored figures; ``stale`` while a change is not in them yet."""
        figures = development_for(member_of(request), id_in_address(lot_id))
        return tagged(request, figures.body, tag=figures.tag)


_POT = {
    **{
        name: SESSION.by_name()[name]
        for name in ("leaf_g", "vessel_ml", "vessel_material", "vessel_g", "warmed", "altitude_m")
    },
    **{name: INFUSION.by_name()[name] for name in ("kettle_c", "pour_s")},
    "style": Field(name="style", kind="choice", choices=STYLES),
    "guests": Field(name="guests", kind="integer", low=1, high=MOST_GUESTS),
    "cup_ml": Field(name="cup_ml", kind="number", low=CUP_RANGE_ML[0], high=CUP_RANGE_ML[1]),
}
"""What the guide asks of a pot and the table: fields, limits and units of a session and an infusion, and its own."""


class BrewGuideOf(APIView):
    """How to brew a lot in the pot at hand."""

    def get(self, request: Request, lot_id: str) -> Response:
        """Return how to brew it: steep times, leaf and water, caffeine, cost. Scalding water: see the cautions."""
        lot, pot = id_in_address(lot_id), _pot(request)
        try:
            found = guide_for(member_of(request), lot, pot=pot)
        except PotError as error:
            raise Invalid(problems=[Problem(error.field, error.code, error.detail)]) from error
        return tagged(request, found.as_json())


class ReadinessOf(APIView):
    """Whether a lot's roast has rested enough."""

    def get(self, request: Request, lot_id: str) -> Response:
        """Answer for a ``level`` of roast, by default the team's own, as of today."""
        level: float | None = None
        if (text := request.query_params.get("level")) is not None:
            try:
                level = float(str(clean(_ROAST, _read(_ROAST, str(text)))))
            except Unfit as error:
                raise Invalid(problems=[problem_of("level", error.fault)]) from error
        lot = id_in_address(lot_id)
        return tagged(request, readiness_for(member_of(request), lot, today=timezone.now().date(), level=level))


class ArrivalCheckOf(APIView):
    """Whether an arrived lot is the tea of its sample."""

    def get(self, request: Request, lot_id: str) -> Response:
        """Compare the lot with the one it names as ``from_lot``, and show the triangle tests of the two."""
        return tagged(request, arrival_check_for(member_of(request), id_in_address(lot_id)))


_ROAST = Field(name="level", kind="number", low=0, high=10)


def _pot(request: Request) -> Pot:
    """Read the pot from the query; what is not said is the style's own."""
    told: dict[str, Any] = {}
    problems: list[Problem] = []
    for name, value in request.query_params.items():
        field = _POT.get(name)
        if field is None:
            problems.append(
                Problem(name[:80], "unknown_field", _("a pot is told by %(fields)s") % {"fields": ", ".join(_POT)})
            )
            continue
        try:
            told[name] = clean(field, _read(field, str(value)))
        except Unfit as error:
            problems.append(problem_of(name, error.fault))
    if problems:
        raise Invalid(problems=problems)
    return Pot(**told)


def _read(field: Field, text: str) -> object:
    if field.kind == "truth":
        return {"true": True, "false": False}.get(text.lower(), text)
    if field.kind in ("number", "integer"):
        try:
            number = float(text)
        except ValueError:
            return text
        return number if math.isfinite(number) else text
    return text
