"""What a tea is to be brewed in, and in which style.

Four styles. Two are brewed to a strength: ``small_pot``, many short infusions of much leaf, and ``long_mug``, one long
infusion of little leaf. Two are evaluations with everything laid down by a standard: ``standard_bowl`` (ISO 3103) and
``covered_bowl`` (GB/T 23776). The parameters of a pot must fit its style; a number that the style or the extraction
model cannot take is refused by name.
"""

from dataclasses import dataclass, fields, replace
from typing import Literal

from tastings.maths.brewing.brews import Brew, BrewError, Pour
from tastings.maths.brewing.even_brew import BOILING, EVEN_VESSEL_ML, even_brew
from tastings.maths.brewing.heat import boiling_point_c
from tastings.maths.curve.evidence import COOLEST_C, RATIO_RANGE

Style = Literal["small_pot", "long_mug", "standard_bowl", "covered_bowl"]
SMALL_POT: Style = "small_pot"
LONG_MUG: Style = "long_mug"
STANDARD_BOWL: Style = "standard_bowl"
COVERED_BOWL: Style = "covered_bowl"
STYLES: tuple[Style, ...] = (SMALL_POT, LONG_MUG, STANDARD_BOWL, COVERED_BOWL)

MUG_ML = 300.0  # a big mug (common practice, no source)
CUP_ML = 50.0  # a small tasting cup, filled (common practice, no source)
SMALL_POT_ML = (15.0, 1000.0)
MUG_RANGE_ML = (150.0, 1000.0)
MUG_RATIO = (0.05, 1.0)  # of the even brew: 0.7 g to 14 g in 300 ml
LONGEST_POUR_S = 300.0
STANDARD_POTS_ML = (310.0, 150.0)
MOST_GUESTS = 200
CUP_RANGE_ML = (5.0, 500.0)

_FITS: dict[str, frozenset[str]] = {
    SMALL_POT: frozenset(
        {"leaf_g", "vessel_ml", "kettle_c", "vessel_material", "vessel_g", "warmed", "pour_s", "altitude_m"}
        | {"guests", "cup_ml"}
    ),
    LONG_MUG: frozenset(
        {"leaf_g", "vessel_ml", "kettle_c", "vessel_material", "vessel_g", "warmed", "altitude_m", "guests"}
    ),
    STANDARD_BOWL: frozenset({"vessel_ml", "altitude_m"}),
    COVERED_BOWL: frozenset({"altitude_m"}),
}


PotRule = Literal["style", "not_for_style", "iso_pots", "between", "leaf_for_water", "not_for_herbal", "no_standard"]


class PotError(BrewError):
    """A pot cannot be brewed in its style.

    Attributes
    ----------
    field, code : str
        Which field of the pot, and the code of the problem.
    rule : str
        Which rule it breaks; ``values`` are the rule's figures, such as ``low`` and ``high``.
    """

    def __init__(self, field: str, code: str, *, rule: PotRule, **values: float | str) -> None:
        super().__init__(f"{field}: {rule} {values}")
        self.field, self.code, self.rule, self.values = field, code, rule, values


@dataclass(frozen=True, slots=True, kw_only=True)
class PotRequest:
    """The pot and the table as asked for; None where the request has no value.

    A field without a value takes the style's own, or what was usual where the lot was tasted
    (`tastings.maths.guide.usual_brew`); while nobody has tasted it, leaf and heat of the even brew.
    """

    style: Style = SMALL_POT  # one of `STYLES`
    # dry leaf; for a small pot as the lot was tasted, to half a gram (below 60 ml to a tenth); worked out for a mug [g]
    leaf_g: float | None = None
    vessel_ml: float | None = None  # 110 for a small pot, 300 for a mug, 310 (or 150) for the standard's pot [ml]
    # water in the kettle; as the lot was tasted, and never above the boiling point of the place [deg C]
    kettle_c: float | None = None
    vessel_material: str | None = None  # a key of `tastings.maths.brewing.heat.MATERIALS`; porcelain
    vessel_g: float | None = None  # mass with the lid; estimated from volume and material [g]
    warmed: bool | None = None  # rinsed with boiling water first; a small pot is, a mug is not
    pour_s: float | None = None  # how long the pot takes to empty; 5 [s]
    altitude_m: float | None = None  # height above the sea; 0 [m]
    guests: int | None = None  # who is to be served; 1
    cup_ml: float | None = None  # what each guest gets of each infusion; all of it for one guest, 50 for more [ml]

    def check_fit(self) -> None:
        """Raise PotError for what does not go with the style, or what no guide can be worked out for."""
        if self.style not in STYLES:
            raise PotError("style", "choice", rule="style")
        for field in fields(self):
            if field.name != "style" and getattr(self, field.name) is not None and field.name not in _FITS[self.style]:
                raise PotError(field.name, "other_style", rule="not_for_style", style=self.style)
        if self.style == STANDARD_BOWL and self.vessel_ml not in (None, *STANDARD_POTS_ML):
            raise PotError("vessel_ml", "choice", rule="iso_pots")
        _between("kettle_c", self.kettle_c, low=COOLEST_C, high=100.0)
        _between("pour_s", self.pour_s, low=0.0, high=LONGEST_POUR_S)
        _between("altitude_m", self.altitude_m, low=-430.0, high=9000.0)
        _between("guests", self.guests, low=1, high=MOST_GUESTS)
        _between("cup_ml", self.cup_ml, low=CUP_RANGE_ML[0], high=CUP_RANGE_ML[1])
        _between("leaf_g", self.leaf_g, low=0.01, high=1000.0)
        _between("vessel_g", self.vessel_g, low=1.0, high=20_000.0)
        if self.style in (SMALL_POT, LONG_MUG):
            low_ml, high_ml = SMALL_POT_ML if self.style == SMALL_POT else MUG_RANGE_ML
            _between("vessel_ml", self.vessel_ml, low=low_ml, high=high_ml)


@dataclass(frozen=True, slots=True, kw_only=True)
class Vessel:
    """A vessel with its leaf, nothing left open but what :func:`tastings.maths.brewing.heat.steeping_of` estimates.

    Names and units as in :class:`PotRequest`.
    """

    leaf_g: float
    vessel_ml: float
    kettle_c: float = 100.0
    vessel_material: str = "porcelain"
    vessel_g: float | None = None
    warmed: bool = True
    pour_s: float | None = None
    altitude_m: float = 0.0

    @property
    def poured_c(self) -> float:
        """Return how hot the kettle's water can be at that height [deg C]."""
        return min(self.kettle_c, boiling_point_c(self.altitude_m))

    def brew(self, pours: tuple[Pour, ...]) -> Brew:
        """Return a session in this vessel."""
        return replace(
            even_brew(),
            session="guide",
            leaf_g=self.leaf_g,
            vessel_ml=self.vessel_ml,
            vessel_material=self.vessel_material,
            vessel_g=self.vessel_g,
            warmed=self.warmed,
            altitude_m=self.altitude_m,
            pours=pours,
        )

    def pour(self, number: int, *, steep_s: float) -> Pour:
        """Return one pour of it."""
        return Pour(
            number=number,
            steep_s=steep_s,
            pour_s=self.pour_s,
            kettle_c=self.kettle_c,
            water_ml=None,
            rest_s=None,
            ratings={},
            noted=frozenset(),
            tasted=number > 0,
        )


def small_pot(pot: PotRequest) -> Vessel:
    """Return the vessel of a small pot; raise PotError for one in which the lot's cups cannot be foretold."""
    vessel_ml = small_pot_ml(pot)
    usual_g = max(round(vessel_ml * BOILING.leaf_g / EVEN_VESSEL_ML * 2) / 2, 0.5)
    return _vessel(pot, vessel_ml=vessel_ml, leaf_g=usual_g, warmed=True, ratio=RATIO_RANGE)


def small_pot_ml(pot: PotRequest) -> float:
    """Return what a small pot holds; the even brew's by default [ml]."""
    return EVEN_VESSEL_ML if pot.vessel_ml is None else pot.vessel_ml


def mug(pot: PotRequest, *, leaf_g: float) -> Vessel:
    """Return the vessel of a long infusion with so much leaf, unless the pot itself says how much."""
    vessel_ml = MUG_ML if pot.vessel_ml is None else pot.vessel_ml
    lifted_out = replace(pot, pour_s=0.0)
    return _vessel(lifted_out, vessel_ml=vessel_ml, leaf_g=leaf_g, warmed=False, ratio=MUG_RATIO)


def leaf_range_g(*, vessel_ml: float, ratio: tuple[float, float]) -> tuple[float, float]:
    """Return the least and the most leaf that so much water can be foretold with [g]."""
    even_g = vessel_ml * BOILING.leaf_g / EVEN_VESSEL_ML
    return ratio[0] * even_g, ratio[1] * even_g


def _vessel(pot: PotRequest, *, vessel_ml: float, leaf_g: float, warmed: bool, ratio: tuple[float, float]) -> Vessel:
    chosen_g = leaf_g if pot.leaf_g is None else pot.leaf_g
    low_g, high_g = leaf_range_g(vessel_ml=vessel_ml, ratio=ratio)
    if not low_g * (1 - 1e-9) <= chosen_g <= high_g * (1 + 1e-9):
        raise PotError("leaf_g", "range", rule="leaf_for_water", low_g=low_g, high_g=high_g, vessel_ml=vessel_ml)
    return Vessel(
        leaf_g=chosen_g,
        vessel_ml=vessel_ml,
        kettle_c=100.0 if pot.kettle_c is None else pot.kettle_c,
        vessel_material=pot.vessel_material or "porcelain",
        vessel_g=pot.vessel_g,
        warmed=warmed if pot.warmed is None else pot.warmed,
        pour_s=pot.pour_s,
        altitude_m=pot.altitude_m or 0.0,
    )


def _between(field: str, value: float | None, *, low: float, high: float) -> None:
    if value is not None and not low <= value <= high:  # a NaN fails both comparisons
        raise PotError(field, "range", rule="between", low=low, high=high, value=value)
