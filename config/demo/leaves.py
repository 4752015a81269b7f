"""The true nature of an invented lot, and its taste over a session.

The cups come from the same forward model that the figures are computed with (`tastings.maths.brewing.extraction`), so
that the demo shows what the method finds when its assumptions hold; `benchmarks` tries it where they do not.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import Brew
from tastings.maths.brewing.even_brew import even_brew
from tastings.maths.brewing.extraction import cup_strength_by_leaf
from tastings.maths.brewing.heat import steeping_of


@dataclass(frozen=True, slots=True)
class Attribute:
    """One rated attribute: the points it peaks at on the even brew, its rate and lag against those of strength."""

    top: float
    pace: float = 1.0
    lag: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoLeaf:
    """A lot's true nature.

    ``k_per_min`` and ``tau_s`` are extraction rate at 100 deg C and wetting lag, ``top`` the points that strength
    peaks at on the even brew. ``flavours`` come and go with what has been drawn from the leaf: each has the shares of
    the leaf's content between which it is there.
    """

    k_per_min: float
    tau_s: float
    top: float
    n: float = 0.7
    attributes: Mapping[str, Attribute] = field(default_factory=dict)
    flavours: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    charm: float = 6.5
    """Points of liking for a cup of just the right strength."""

    def cups(self, brew: Brew) -> Mapping[str, FloatArray]:
        """Return the true points of every rated attribute but liking, one entry per pour. [points, may pass 10]."""
        even = even_brew()
        attributes = {"strength": Attribute(self.top), **self.attributes}
        return {
            key: attribute.top * self._cup(brew, attribute) / self._cup(even, attribute)[1:].max()
            for key, attribute in attributes.items()
        }

    def extracted(self, brew: Brew) -> FloatArray:
        """Return the share of the leaf's content that is gone halfway through each pour."""
        k, tau, steeping = np.array([self.k_per_min]), np.array([self.tau_s]), steeping_of(brew, brew.pours)
        share = 0.08 * cup_strength_by_leaf(steeping, k_per_min=k, tau_s=tau, n=np.ones(1))[0] / steeping.ratio
        return np.asarray(np.cumsum(share) - share / 2, dtype=np.float64)

    def _cup(self, brew: Brew, attribute: Attribute) -> FloatArray:
        strengths = cup_strength_by_leaf(
            steeping_of(brew, brew.pours),
            k_per_min=np.array([self.k_per_min * attribute.pace]),
            tau_s=np.array([self.tau_s * attribute.lag]),
            n=np.array([self.n]),
        )
        return np.asarray(strengths[0], dtype=np.float64)
