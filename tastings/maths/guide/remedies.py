"""What to change when a cup made by the guide is too strong or too thin for whoever drinks it.

The change is one point of strength: more than the half point to which tasters rate, and about the third by
which a content must differ to be noticed for sure (sources: Weber fraction of 0.26 for thickness in the mouth, J Food
Sci 2015, doi 10.1111/1750-3841.12922; taste itself from memory). The lot's own model says what it takes.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import scipy

from tastings.maths.brewing.brews import Pour
from tastings.maths.guide.leaf import Leaf
from tastings.maths.guide.pots import Vessel

POINTS = 1.0
_FACTORS = (0.25, 4.0)


@dataclass(frozen=True, slots=True)
class Remedy:
    """One of the two changes, not both: steep [s] or leaf [g], signed; None where it cannot do it."""

    steep_s: float | None
    leaf_g: float | None


@dataclass(frozen=True, slots=True)
class Remedies:
    """What to change for cups one point weaker, and one point stronger; the steep is that of infusion ``number``."""

    number: int
    too_strong: Remedy
    too_thin: Remedy


@dataclass(frozen=True, slots=True)
class AlternativeSteeps:
    """The steep of one infusion, and those for a cup one point weaker and stronger [s]; None where there is none."""

    number: int
    steep_s: float
    weaker_s: float | None
    stronger_s: float | None


def remedies(steeps: AlternativeSteeps, *, vessel: Vessel, leaf: Leaf, pours: tuple[Pour, ...]) -> Remedies:
    """Return what to change.

    Parameters
    ----------
    steeps : AlternativeSteeps
        Of the infusion whose steep is to change.
    vessel, leaf, pours
        The guide so far; its infusions up to the last one kept at the target.
    """
    drunk = [place for place, pour in enumerate(pours) if pour.number > 0]

    def strength(factor: float) -> float:
        brew = replace(vessel, leaf_g=vessel.leaf_g * factor).brew(pours)
        return float(leaf.cups(brew)[:, drunk].mean())

    now = strength(1.0)
    less_g = _leaf_change(strength, target=now - POINTS, leaf_g=vessel.leaf_g)
    more_g = _leaf_change(strength, target=now + POINTS, leaf_g=vessel.leaf_g)
    return Remedies(
        number=steeps.number,
        too_strong=Remedy(steep_s=_change_s(steeps.weaker_s, steeps), leaf_g=less_g),
        too_thin=Remedy(steep_s=_change_s(steeps.stronger_s, steeps), leaf_g=more_g),
    )


def _leaf_change(strength: Callable[[float], float], *, target: float, leaf_g: float) -> float | None:
    """Return by how much the leaf must change, to what a kitchen balance shows [g]; None when it cannot do it."""
    low, high = _FACTORS
    if not strength(low) < target < strength(high):
        return None
    factor = scipy.optimize.brentq(lambda factor: strength(factor) - target, low, high, xtol=1e-3)
    step_g = 0.5 if leaf_g >= 4 else 0.1
    change_g = (factor - 1) * leaf_g
    return float(np.sign(change_g) * max(round(abs(change_g) / step_g), 1) * step_g)


def _change_s(other_s: float | None, steeps: AlternativeSteeps) -> float | None:
    """Return by how much the steep must change [s]; None when no other steep gives the cup."""
    return None if other_s is None else other_s - steeps.steep_s or None
