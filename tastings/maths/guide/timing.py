"""How long to steep for a wanted strength, within what a person can time.

Times are bound to 5 to 300 s: shorter cannot be poured in time, longer is another way of brewing. A steep that would
have to be more than 2.5 times the one before says that the leaf gives out: the cup cannot be kept. Times are rounded to
what a person with a clock can time: to 5 s up to a minute, to 10 s above (own rule). Each later steep makes up for what
the earlier ones gave too much or too little.
"""

from dataclasses import dataclass
from math import floor

import numpy as np
from scipy.optimize import brentq

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import Pour
from tastings.maths.brewing.heat import steeping_of
from tastings.maths.guide.leaf import Leaf, drawn_s
from tastings.maths.guide.pots import Vessel

SHORTEST_S = 5.0
LONGEST_S = 300.0
MINUTE_S, STEP_S, LONG_STEP_S = 60.0, 5.0, 10.0
STEP_UP, ALWAYS_S = 2.5, 60.0
"""Largest ratio of a steep to the one before it; a minute is always possible (own rule)."""
CLOSE_ENOUGH = 0.95
"""Least share of the target at which a cup counts as full: the half step of the scale (own rule)."""
_LOOKED_AT_S = np.geomspace(SHORTEST_S, LONGEST_S, 16)


@dataclass(frozen=True, slots=True)
class Steep:
    """The steep that gives the wanted cup, bound and not rounded; ``reached`` unless the longest is too weak."""

    steep_s: float
    reached: bool
    too_strong: bool


@dataclass(frozen=True, slots=True)
class NextPour:
    """The infusion after ``before``, for any steep: mean strength [points] over the steeps looked at."""

    vessel: Vessel
    leaf: Leaf
    before: tuple[Pour, ...]
    number: int
    strengths: FloatArray

    @classmethod
    def after(cls, before: tuple[Pour, ...], *, number: int, vessel: Vessel, leaf: Leaf) -> "NextPour":
        """Look at the next infusion over the whole range of steeps."""
        empty = cls(vessel=vessel, leaf=leaf, before=before, number=number, strengths=np.empty(0))
        strengths = np.array([empty.strength(float(steep_s)) for steep_s in _LOOKED_AT_S])
        return cls(vessel=vessel, leaf=leaf, before=before, number=number, strengths=strengths)

    @property
    def longest_s(self) -> float:
        """Return the longest steep that may follow the one before [s]."""
        last = self.before[-1] if self.before else None
        if last is None or last.number == 0:
            return LONGEST_S
        return min(max(STEP_UP * last.steep_s, ALWAYS_S), LONGEST_S)

    def cups(self, steep_s: float) -> FloatArray:
        """Return float64[n_draws]: the cup of one steep in each draw [points]."""
        pours = (*self.before, self.vessel.pour(self.number, steep_s=steep_s))
        return self.leaf.cups(self.vessel.brew(pours))[:, -1]

    def drawn_s(self, steep_s: float) -> float:
        """Return how far one steep would draw the leaf: contact at 100 deg C in all [s]."""
        pours = (*self.before, self.vessel.pour(self.number, steep_s=steep_s))
        return float(drawn_s(steeping_of(self.vessel.brew(pours), pours))[-1])

    def strength(self, steep_s: float) -> float:
        """Return the mean cup of one steep [points]."""
        return float(self.cups(steep_s).mean())

    def steep_for(self, target: float) -> Steep:
        """Return the steep whose mean cup meets the target."""
        if self.strengths[0] >= target:
            return Steep(steep_s=SHORTEST_S, reached=True, too_strong=bool(self.strengths[0] > target * 1.02))
        above = np.flatnonzero(self.strengths >= target)
        longest = self.strength(self.longest_s)
        if not above.size or longest < target:
            return Steep(steep_s=self.longest_s, reached=longest >= CLOSE_ENOUGH * target, too_strong=False)
        place = int(above[0])
        low_s, high_s = float(_LOOKED_AT_S[place - 1]), float(_LOOKED_AT_S[place])
        root_s = brentq(lambda steep_s: self.strength(steep_s) - target, low_s, high_s, xtol=0.01)
        return Steep(steep_s=float(root_s), reached=True, too_strong=False)

    def about(self, strength: float) -> float | None:
        """Return about which steep gives a cup, rounded; None when none within the bounds does [s]."""
        if not self.strengths.min() <= strength <= self.strengths.max():
            return None
        return timed_s(float(np.exp(np.interp(strength, self.strengths, np.log(_LOOKED_AT_S)))))


def timed_s(steep_s: float) -> float:
    """Round a steep to what a person can time [s].

    Examples
    --------
    >>> [timed_s(x) for x in (0.4, 7.4, 14.6, 17.4, 57.6, 66.0, 131.0, 299.0)]
    [5.0, 5.0, 15.0, 15.0, 60.0, 70.0, 130.0, 300.0]
    """
    clipped_s = min(max(steep_s, SHORTEST_S), LONGEST_S)
    step_s = STEP_S if clipped_s < MINUTE_S else LONG_STEP_S
    return floor(clipped_s / step_s + 0.5) * step_s
