"""How long to steep for a wanted strength, within what a person can time.

Times are bound to 5 to 300 s: shorter cannot be poured in time, longer is another way of brewing. A steep that would
have to be more than 2.5 times the one before says that the leaf gives out: the cup cannot be kept. Times are rounded to
what a person with a clock can time: to 5 s up to a minute, to 10 s above (own rule). Each later steep makes up for what
the earlier ones gave too much or too little.
"""

from dataclasses import dataclass, replace
from math import floor

import numpy as np
import scipy

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import Brew, Pour
from tastings.maths.brewing.extraction import DrawnLeaves
from tastings.maths.brewing.heat import Steeping, rates_of_pour, steeping_of
from tastings.maths.guide.leaf import Leaf
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
    """The next infusion, for any steep."""

    leaf: Leaf  # draws of the lot's leaf
    shortest: Brew  # the pours before, and the infusion with the shortest steep
    steeping: Steeping  # that of `shortest`
    drawn: DrawnLeaves  # the leaf as the pours before leave it
    strengths: FloatArray  # float64[n_looked_at]: mean strength over the steeps looked at [points]

    @classmethod
    def after(cls, before: tuple[Pour, ...], *, number: int, vessel: Vessel, leaf: Leaf) -> "NextPour":
        """Look at the next infusion over the whole range of steeps."""
        brew = vessel.brew((*before, vessel.pour(number, steep_s=SHORTEST_S)))
        steeping = steeping_of(brew, brew.pours)
        empty = cls(leaf=leaf, shortest=brew, steeping=steeping, drawn=leaf.drawn(steeping), strengths=np.empty(0))
        return replace(empty, strengths=empty._cups(_LOOKED_AT_S).mean(axis=0))

    @property
    def longest_s(self) -> float:
        """Return the longest steep that may follow the one before [s]."""
        last = self.shortest.pours[-2] if len(self.shortest.pours) > 1 else None
        if last is None or last.number == 0:
            return LONGEST_S
        return min(max(STEP_UP * last.steep_s, ALWAYS_S), LONGEST_S)

    def cups(self, steep_s: float) -> FloatArray:
        """Return float64[n_draws]: the cup of one steep in each draw [points]."""
        return self._cups(np.array([steep_s]))[:, 0]

    def drawn_s(self, steep_s: float) -> float:
        """Return how far one steep would draw the leaf: contact at 100 deg C in all [s]."""
        contact_s, rate = self._contact_and_rate(np.array([steep_s]))
        before_s = self.steeping.rate[:-1] @ self.steeping.contact_s[:-1]
        return float(before_s + rate[0] * contact_s[0])

    def strength(self, steep_s: float) -> float:
        """Return the mean cup of one steep [points]."""
        return float(self.cups(steep_s).mean())

    def _cups(self, steeps_s: FloatArray) -> FloatArray:
        """Return float64[n_draws, n_steeps]: the cup of each steep in each draw [points]."""
        contact_s, rate = self._contact_and_rate(steeps_s)
        ratio = float(self.steeping.ratio[-1])
        return self.leaf.on_scale(self.drawn.strength_of_next(contact_s, rate=rate, ratio=ratio))

    def _contact_and_rate(self, steeps_s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return contact time [s] and extraction rate of each steep."""
        contact_s = self.steeping.contact_s[-1] - SHORTEST_S + steeps_s
        start_c = float(self.steeping.start_c[-1])
        return contact_s, rates_of_pour(self.shortest, start_c=start_c, contact_s=contact_s)

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
        root_s = scipy.optimize.brentq(lambda steep_s: self.strength(steep_s) - target, low_s, high_s, xtol=0.01)
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
