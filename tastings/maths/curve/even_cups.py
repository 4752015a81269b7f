"""The even brew's cups on the grid, and what they say of a posterior."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.even_brew import EVEN_INFUSIONS, MOST_INFUSIONS, EvenBrew
from tastings.maths.brewing.extraction import Grid, default_grid
from tastings.maths.curve.evidence import PreparedSession
from tastings.maths.curve.heat_error import RateError, rate_error
from tastings.maths.curve.posterior import CurveDraws, Posterior
from tastings.maths.curve.profile import curve_shapes, label_shares


@dataclass(frozen=True, slots=True)
class EvenCups:
    """The even brew on the grid.

    ``cups`` are those of every infusion that is counted or was tasted somewhere, ``label_prior`` the probability of
    each label before anything was tasted; ``shown`` is how many infusions a curve has; ``rate`` is what the heat of all
    sessions may be off by.
    """

    brew: EvenBrew
    grid: Grid
    rate: RateError
    cups: FloatArray
    label_prior: FloatArray
    shown: int

    def dryness(self, posterior: Posterior) -> float:
        """Return how much of the leaf is dry in the middle of the first even-brew steep [share]."""
        middle_s = (self.brew.rinse_s or 0.0) + self.brew.contact_s / 2
        dry = np.exp(-middle_s / self.grid.tau_s)
        by_tau = posterior.node_weights.reshape(self.grid.shape).sum(axis=(0, 2))
        return float(by_tau @ dry / by_tau.sum())

    def of(self, draws: CurveDraws, *, infusions: int) -> FloatArray:
        """Return the strength h of each draw's cups, float64[n_draws, infusions]."""
        return draws.even_cups(self.brew, infusions=infusions, rate=self.rate, grid=self.grid)


def even_cups_of(followed: Sequence[PreparedSession], *, even_brew: EvenBrew, grid: Grid, form: str) -> EvenCups:
    """Return the even brew's cups on a grid, as long as any of the sessions; ``form`` is that of the leaf."""
    longest = max((session.pours[-1].number for session in followed), default=0)
    cups = even_brew.cups(grid, infusions=max(MOST_INFUSIONS, longest))
    return EvenCups(
        brew=even_brew,
        grid=grid,
        rate=rate_error(followed, even_brew=even_brew),
        cups=cups,
        label_prior=_label_prior(even_brew, form),
        shown=min(max(EVEN_INFUSIONS, longest), MOST_INFUSIONS),
    )


@cache
def _label_prior(even_brew: EvenBrew, form: str) -> FloatArray:
    grid = default_grid(form)
    return label_shares(curve_shapes(even_brew.cups(grid)), weights=np.exp(grid.log_prior))
