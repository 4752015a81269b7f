"""Two evaluations whose brewing a standard lays down: ISO 3103 and GB/T 23776, by class of tea.

The figures, with where they come from. "Read" is from an abstract, table page or trade summary of the standard, never
from its full text; "from memory" has not been looked up and is said to be so in the answer too.

- ISO 3103:2019. Read: pots of 310 ml (filled with about 285 ml, 200 g heavy) and 150 ml (about 140 ml, 118 g), 2 g of
  leaf per 100 ml, so 5.6 g and 2.8 g, boiling water, 6 minutes for black tea and 5 for green leaf; the height above the
  sea is to be stated. Other classes are taken here as black tea is.
- GB/T 23776-2018, covered bowl for oolong. Read: 110 ml, boiling water, three steeps of 2, 3 and 5 minutes. From memory
  (sure): 5 g of leaf.
- GB/T 23776-2018, covered cup for the other classes. Read: 3.0 g, 1:50, so 150 ml. From memory (fairly sure): green 4
  minutes; black, white and yellow 5; dark 2 and 5; scented 3 and 5.
"""

from dataclasses import dataclass
from typing import Literal

from tastings.maths.guide.pots import COVERED_BOWL, STANDARD_BOWL, STANDARD_POTS_ML, PotError, PotRequest, Vessel

HERBAL = "herbal"
_LARGE_ML, _SMALL_ML = STANDARD_POTS_ML
_ISO_MINUTES = {"green": 5.0, "black": 6.0}
_CUP_MINUTES = {
    "green": (4.0,),
    "black": (5.0,),
    "white": (5.0,),
    "yellow": (5.0,),
    "dark": (2.0, 5.0),
    "scented": (3.0, 5.0),
}


@dataclass(frozen=True, slots=True)
class Standard:
    """Which standard lays an evaluation down, for which class of tea.

    ``minutes`` are its steeps [min]; ``has_kind`` says whether it names this class or another class stands in for it.
    """

    code: Literal["iso_3103", "gb_t_23776_bowl", "gb_t_23776_cup"]
    kind: str
    minutes: tuple[float, ...]
    has_kind: bool


@dataclass(frozen=True, slots=True)
class Protocol:
    """An evaluation: the vessel as filled, its capacity [ml], the steeps [s] and the standard they come from."""

    vessel: Vessel
    vessel_ml: float
    steeps_s: tuple[float, ...]
    standard: Standard


def protocol(pot: PotRequest, *, kind: str) -> Protocol:
    """Return the evaluation that a pot of style ``standard_bowl`` or ``covered_bowl`` asks for.

    Parameters
    ----------
    pot : PotRequest
        Its altitude counts, and which of the two ISO pots.
    kind : str
        Class of tea, as of a lot.

    Raises
    ------
    PotError
        The standard is for tea and the lot is herbal, or the style is none of the two.
    """
    if kind == HERBAL:
        raise PotError("style", "choice", rule="not_for_herbal", style=pot.style)
    if pot.style == STANDARD_BOWL:
        return _standard(pot, kind=kind)
    if pot.style == COVERED_BOWL:
        return _covered(pot, kind=kind)
    raise PotError("style", "choice", rule="no_standard", style=pot.style)


def _standard(pot: PotRequest, *, kind: str) -> Protocol:
    small = pot.vessel_ml == _SMALL_ML
    minutes = _ISO_MINUTES.get(kind, _ISO_MINUTES["black"])
    return Protocol(
        vessel=Vessel(
            leaf_g=2.8 if small else 5.6,
            vessel_ml=140.0 if small else 285.0,
            vessel_g=118.0 if small else 200.0,
            warmed=False,
            altitude_m=pot.altitude_m or 0.0,
        ),
        vessel_ml=_SMALL_ML if small else _LARGE_ML,
        steeps_s=(minutes * 60,),
        standard=Standard("iso_3103", kind, (minutes,), has_kind=kind in _ISO_MINUTES),
    )


def _covered(pot: PotRequest, *, kind: str) -> Protocol:
    if kind == "oolong":
        return Protocol(
            vessel=Vessel(leaf_g=5.0, vessel_ml=110.0, warmed=False, altitude_m=pot.altitude_m or 0.0),
            vessel_ml=110.0,
            steeps_s=(120.0, 180.0, 300.0),
            standard=Standard("gb_t_23776_bowl", kind, (2.0, 3.0, 5.0), has_kind=True),
        )
    minutes = _CUP_MINUTES.get(kind, _CUP_MINUTES["black"])
    return Protocol(
        vessel=Vessel(leaf_g=3.0, vessel_ml=150.0, warmed=False, altitude_m=pot.altitude_m or 0.0),
        vessel_ml=150.0,
        steeps_s=tuple(minute * 60 for minute in minutes),
        standard=Standard("gb_t_23776_cup", kind, minutes, has_kind=kind in _CUP_MINUTES),
    )
