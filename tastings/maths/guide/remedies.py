"""What to change when a cup made by the guide is too strong or too thin for whoever drinks it.

One point of strength is the change spoken of: more than the half point to which tasters rate, and about the third by
which a content must differ to be noticed for sure (sources: Weber fraction of 0.26 for thickness in the mouth, J Food
Sci 2015, doi 10.1111/1750-3841.12922; taste itself from memory). What it takes is worked out of the lot's own model.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq

from tastings.maths.brewing.brews import Pour
from tastings.maths.curve.development import plain
from tastings.maths.guide.leaf import Leaf
from tastings.maths.guide.pots import Vessel

POINTS = 1.0
_FACTORS = (0.25, 4.0)


@dataclass(frozen=True, slots=True)
class Remedy:
    """One of the two changes, not both: steep [s] or leaf [g], signed; None where it cannot do it."""

    steep_s: float | None
    leaf_g: float | None
    detail: str

    def as_json(self) -> dict[str, object]:
        """Return it in plain types."""
        return {
            "steep_s": None if self.steep_s is None else plain(self.steep_s),
            "leaf_g": None if self.leaf_g is None else plain(self.leaf_g),
            "detail": self.detail,
        }


@dataclass(frozen=True, slots=True)
class Remedies:
    """What to change for cups one point weaker, and one point stronger; the steep is that of infusion ``number``."""

    number: int
    too_strong: Remedy
    too_thin: Remedy

    def as_json(self) -> dict[str, object]:
        """Return it in plain types."""
        return {
            "points": POINTS,
            "infusion": self.number,
            "too_strong": self.too_strong.as_json(),
            "too_thin": self.too_thin.as_json(),
        }


@dataclass(frozen=True, slots=True)
class Steeps:
    """The steep of one infusion, and those for a cup one point weaker and stronger [s]; None where there is none."""

    number: int
    steep_s: float
    weaker_s: float | None
    stronger_s: float | None


def remedies(steeps: Steeps, *, vessel: Vessel, leaf: Leaf, pours: tuple[Pour, ...]) -> Remedies:
    """Return what to change.

    Parameters
    ----------
    steeps : Steeps
        Of the infusion that is spoken of.
    vessel, leaf, pours
        The guide so far; its infusions up to the last one kept at the target.
    """
    drunk = [place for place, pour in enumerate(pours) if pour.number > 0]

    def strength(factor: float) -> float:
        brew = replace(vessel, leaf_g=vessel.leaf_g * factor).brew(pours)
        return float(leaf.cups(brew)[:, drunk].mean())

    now = strength(1.0)
    less_g = _leaf_change(strength, wanted=now - POINTS, leaf_g=vessel.leaf_g)
    more_g = _leaf_change(strength, wanted=now + POINTS, leaf_g=vessel.leaf_g)
    return Remedies(
        number=steeps.number,
        too_strong=_remedy(steeps, steeps.weaker_s, leaf_g=less_g, said="Too strong", than="weaker"),
        too_thin=_remedy(steeps, steeps.stronger_s, leaf_g=more_g, said="Too thin", than="stronger"),
    )


def _leaf_change(strength: Callable[[float], float], *, wanted: float, leaf_g: float) -> float | None:
    """Return by how much the leaf must change, to what a kitchen balance shows [g]; None when it cannot do it."""
    low, high = _FACTORS
    if not strength(low) < wanted < strength(high):
        return None
    factor = brentq(lambda one: strength(one) - wanted, low, high, xtol=1e-3)
    step_g = 0.5 if leaf_g >= 4 else 0.1
    change_g = (factor - 1) * leaf_g
    return float(np.sign(change_g) * max(round(abs(change_g) / step_g), 1) * step_g)


def _remedy(steeps: Steeps, other_s: float | None, *, leaf_g: float | None, said: str, than: str) -> Remedy:
    steep_s = None if other_s is None else other_s - steeps.steep_s or None
    ways = []
    if steep_s is not None:
        at = "" if steeps.number == 1 else f" at infusion {steeps.number}, the others in proportion"
        ways.append(f"{abs(steep_s):g} s {'less' if steep_s < 0 else 'more'}{at}")
    if leaf_g is not None:
        ways.append(f"{abs(leaf_g):g} g {'less' if leaf_g < 0 else 'more'} leaf")
    detail = (
        f"{said}: {', or '.join(ways)}, for cups about one point {than}."
        if ways
        else (f"{said}: neither steep nor leaf can change this pot by a whole point; take another pot or other water.")
    )
    return Remedy(steep_s=steep_s, leaf_g=leaf_g, detail=detail)
