"""What is computed of a lot."""

import math

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.auth import member_of
from api.conditional import id_in_address, tagged
from lots.shape import Field, Unfit, clean
from tastings.maths.guide import Pot
from tastings.queries.developments import development_for
from tastings.queries.guides import guide_for
from tastings.queries.verdicts import arrival_check_for, readiness_for
from tastings.shapes import INFUSION, SESSION
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
}
"""What the guide asks of a pot: fields, limits and units of a session and an infusion."""


class BrewGuideOf(APIView):
    """How to brew a lot in the pot at hand."""

    def get(self, request: Request, lot_id: str) -> Response:
        """Return steep times that keep each cup at the target strength. Scalding water: see the cautions."""
        lot = id_in_address(lot_id)
        return tagged(request, guide_for(member_of(request), lot, pot=_pot(request)).as_json())


class ReadinessOf(APIView):
    """Whether a lot's roast has rested enough."""

    def get(self, request: Request, lot_id: str) -> Response:
        """Answer for a ``level`` of roast, by default the team's own, as of today."""
        level: float | None = None
        if (text := request.query_params.get("level")) is not None:
            try:
                level = float(str(clean(_ROAST, _read(_ROAST, str(text)))))
            except Unfit as error:
                raise Invalid(problems=[Problem("level", error.fault.code, error.fault.detail)]) from error
        lot = id_in_address(lot_id)
        return tagged(request, readiness_for(member_of(request), lot, today=timezone.now().date(), level=level))


class ArrivalCheckOf(APIView):
    """Whether an arrived lot is the tea of its sample."""

    def get(self, request: Request, lot_id: str) -> Response:
        """Compare the lot with the one it names as ``from_lot``, and show the triangle tests of the two."""
        return tagged(request, arrival_check_for(member_of(request), id_in_address(lot_id)))


_ROAST = Field(name="level", kind="number", low=0, high=10)


def _pot(request: Request) -> Pot:
    """Read the pot from the query; what is not said is the even brew's."""
    told: dict[str, object] = {}
    problems: list[Problem] = []
    for name, value in request.query_params.items():
        field = _POT.get(name)
        if field is None:
            problems.append(Problem(name[:80], "unknown_field", f"a pot is told by {', '.join(_POT)}"))
            continue
        try:
            told[name] = clean(field, _read(field, str(value)))
        except Unfit as error:
            problems.append(Problem(name, error.fault.code, error.fault.detail))
    if problems:
        raise Invalid(problems=problems)

    def number(name: str) -> float | None:
        value = told.get(name)
        return float(value) if isinstance(value, int | float) else None

    return Pot(
        leaf_g=number("leaf_g") or 5.0,
        vessel_ml=number("vessel_ml") or 110.0,
        kettle_c=100.0 if (kettle_c := number("kettle_c")) is None else kettle_c,
        vessel_material=str(told.get("vessel_material", "porcelain")),
        vessel_g=number("vessel_g"),
        warmed=told.get("warmed") is not False,
        pour_s=number("pour_s"),
        altitude_m=number("altitude_m"),
    )


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
