"""How much a cup's place in its session moves its rating: fatigue, or a taste that piles up.

Fatigue and fading come in the same order, so one lot hardly tells them apart. Every lot therefore has a mixture: no
slope, or a slope per cup tasted before, which all its sessions share and which is integrated out in closed form
(:func:`tastings.maths.curve.posterior.posterior_from`). Bands are those of the mixture. The mean curve leaves a slope
out until it is :data:`MOSTLY` probable, since a mean between the two would be wrong by half in both cases.

A team's lots say together what one leaves open: :meth:`OrderSlope.given` their evidence.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from tastings.maths.certainty import never_certain

MOSTLY = 0.99
"""In simulated worlds without fatigue hardly one lot in a thousand gets there by chance."""
BROAD_SD = 0.3
"""Sd of the normal under which a lot's evidence is computed, and by which it is then divided. [points a cup]"""
LOT_SD = 0.03
"""How far the slope that a lot seems to have may be off because the extraction model is not the leaf (own value)."""
SHARED_SD = 0.02
"""The part of :data:`LOT_SD` that all lots of a team have in common (own value). [points a cup]"""


@dataclass(frozen=True, slots=True)
class SlopeEvidence:
    """What one lot's ratings say of the slope: the normal that its likelihood resembles [points a cup]."""

    mean: float
    sd: float


@dataclass(frozen=True, slots=True)
class OrderSlope:
    """What is believed of the slope of one descriptor: 0, or with ``probability`` normal [points a cup]."""

    probability: float = 0.0
    mean: float = 0.0
    sd: float = 0.05

    def given(self, evidence: Iterable[SlopeEvidence]) -> "OrderSlope":
        """Return what is believed after some lots of one team, whose tasters are the same.

        Examples
        --------
        >>> tired = OrderSlope(0.25, -0.14, 0.05).given([SlopeEvidence(-0.15, 0.1)] * 4)
        >>> round(tired.probability, 2), round(tired.mean, 2)
        (0.9, -0.14)
        """
        lots = list(evidence)
        if not lots or not self.probability:
            return self
        weight = np.array([1 / (lot.sd**2 + LOT_SD**2) for lot in lots])
        mean = float(np.average([lot.mean for lot in lots], weights=weight))
        variance = 1 / float(weight.sum()) + SHARED_SD**2
        odds = self.probability / (1 - self.probability)
        odds *= _density(mean - self.mean, variance=variance + self.sd**2) / max(
            _density(mean, variance=variance), 1e-300
        )
        precision = 1 / variance + 1 / self.sd**2
        return OrderSlope(
            probability=never_certain(odds / (1 + odds)),
            mean=(mean / variance + self.mean / self.sd**2) / precision,
            sd=precision**-0.5,
        )


def _density(z: float, *, variance: float) -> float:
    return float(np.exp(-0.5 * z * z / variance) / variance**0.5)


NO_SLOPE = OrderSlope()
USUAL_SLOPES: dict[str, OrderSlope] = {
    "strength": OrderSlope(probability=0.25, mean=-0.15, sd=0.04),
    "astringency": OrderSlope(probability=0.5, mean=0.18, sd=0.06),
    "sweetness": OrderSlope(probability=0.5, mean=0.15, sd=0.06),
}
"""Before a team's lots say more. That of strength is our own value; the others were found in published panels."""


def team_slopes(evidence: Iterable[Mapping[str, SlopeEvidence]]) -> dict[str, OrderSlope]:
    """Return what is believed of a team's slopes, by descriptor, from what each of its lots says."""
    lots = list(evidence)
    return {key: usual.given(lot[key] for lot in lots if key in lot) for key, usual in USUAL_SLOPES.items()}
