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

from tastings.maths.guide.pots import COVERED_BOWL, STANDARD_BOWL, STANDARD_POTS_ML, Pot, PotError, Vessel

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
class Protocol:
    """An evaluation: the vessel as filled, its capacity [ml], the steeps [s] and where they come from."""

    vessel: Vessel
    vessel_ml: float
    steeps_s: tuple[float, ...]
    source: str


def protocol(pot: Pot, *, kind: str) -> Protocol:
    """Return the evaluation that a pot of style ``standard_bowl`` or ``covered_bowl`` asks for.

    Parameters
    ----------
    pot : Pot
        Its altitude counts, and which of the two ISO pots.
    kind : str
        Class of tea, as of a lot.

    Raises
    ------
    PotError
        The standard is for tea and the lot is herbal, or the style is none of the two.
    """
    if kind == HERBAL:
        raise PotError("style", "choice", f"{pot.style} is laid down for tea, and this lot is herbal")
    if pot.style == STANDARD_BOWL:
        return _standard(pot, kind=kind)
    if pot.style == COVERED_BOWL:
        return _covered(pot, kind=kind)
    raise PotError("style", "choice", f"{pot.style} is not laid down by a standard")


def _standard(pot: Pot, *, kind: str) -> Protocol:
    small = pot.vessel_ml == _SMALL_ML
    minutes = _ISO_MINUTES.get(kind, _ISO_MINUTES["black"])
    named = "" if kind in _ISO_MINUTES else f" Minutes for {kind} tea taken as for black tea."
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
        source=(
            "ISO 3103:2019: 2 g per 100 ml, boiling water, 6 minutes for black and 5 for green leaf (read in summaries,"
            f" not in the standard itself).{named} The standard asks for the altitude to be stated."
        ),
    )


def _covered(pot: Pot, *, kind: str) -> Protocol:
    if kind == "oolong":
        return Protocol(
            vessel=Vessel(leaf_g=5.0, vessel_ml=110.0, warmed=False, altitude_m=pot.altitude_m or 0.0),
            vessel_ml=110.0,
            steeps_s=(120.0, 180.0, 300.0),
            source=(
                "GB/T 23776-2018, covered bowl for oolong: 110 ml, boiling water, 2, 3 and 5 minutes (read in"
                " summaries); 5 g of leaf (from memory)."
            ),
        )
    minutes = _CUP_MINUTES.get(kind, _CUP_MINUTES["black"])
    said = " and ".join(f"{one:g}" for one in minutes)
    return Protocol(
        vessel=Vessel(leaf_g=3.0, vessel_ml=150.0, warmed=False, altitude_m=pot.altitude_m or 0.0),
        vessel_ml=150.0,
        steeps_s=tuple(one * 60 for one in minutes),
        source=(
            "GB/T 23776-2018, covered cup, which it has for all but oolong: 3.0 g in 150 ml, 1:50 (read in summaries);"
            f" {said} minutes of boiling water for {kind} tea (from memory)."
        ),
    )
