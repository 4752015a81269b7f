"""Which further cups would help most to choose the best lot: what the choice is expected to be worth after them.

For every draw of what is possible the further cups are simulated with their noise; the lots' expected worth after
them follows by linear regression on what was tasted; the best of those would be chosen. What that lot is worth in the
draws, less what today's leader is worth, is the gain (preposterior analysis, Raiffa and Schlaifer 1961; for choosing
among things measured with noise known as the knowledge gradient, Frazier, Powell and Dayanik 2009, INFORMS J. Comput.
21:599-613; both from memory, high).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from tastings.maths.arrays import FloatArray, IndexArray
from tastings.maths.flights.cups import ServedCups
from tastings.maths.flights.model import Draws

MOST_LOTS = 8
"""As many lots side by side as a sitting usually holds (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class FurtherCups:
    """One more sitting, and what it is expected to bring."""

    lots: tuple[str, ...]  # side by side, the likeliest to be best first
    times: int  # how often each is tasted by each taster
    tasters: tuple[str, ...]  # by whom, each in a sitting of their own
    cups: int
    gain: float  # how much better the lot then chosen is expected to be [points]
    p_right: float  # expected probability that the lot then chosen is the best
    gain_p_right: float  # how much more that is than now


def further_cups(
    draws: Draws, *, served: ServedCups, candidates: IndexArray, cups: int, rng: Generator
) -> tuple[FurtherCups, ...]:
    """Return what further sittings are worth, the best first.

    Parameters
    ----------
    draws : Draws
        What is possible after the cups so far.
    served : ServedCups
        Those cups.
    candidates : intp[n_candidates]
        Places of the lots that may be chosen.
    cups : int
        What a taster takes in a sitting. The likeliest two, three, four lots and so on share them, so that all
        proposals cost about the same work.
    rng : Generator
        Noise of the simulated cups; the same for all proposals, so that they compare.

    Returns
    -------
    tuple[FurtherCups, ...]
        By the whole team for each number of lots, then by each taster alone for the number that is best for the team;
        within both the highest gain first. Empty with fewer than two candidates.

    Notes
    -----
    A taster's taste for a lot counts as new in the further cups, though a taster who has had the lot would bring the
    same taste again: gains are put a little too high where tastes differ much.
    """
    if candidates.size < 2:
        return ()
    simulation = _Simulation(draws, candidates=candidates, rng=rng)
    tasters, names = served.tasters, [served.lots[place] for place in candidates]
    most = max(2, min(cups, MOST_LOTS, candidates.size))
    everyone = list(range(len(tasters)))

    def proposed(n: int, group: Sequence[int]) -> FurtherCups:
        times = max(1, cups // n)
        gain, p_right = simulation.after(n, group=group, times=times)
        return FurtherCups(
            lots=tuple(names[place] for place in simulation.order[:n]),
            times=times,
            tasters=tuple(tasters[place] for place in group),
            cups=n * times * len(group),
            gain=gain,
            p_right=p_right,
            gain_p_right=p_right - simulation.p_right,
        )

    team = sorted((proposed(n, everyone) for n in range(2, most + 1)), key=lambda further: -further.gain)
    if len(tasters) < 2:
        return tuple(team)
    alone = (proposed(len(team[0].lots), [taster]) for taster in everyone)
    return (*team, *sorted(alone, key=lambda further: -further.gain))


class _Simulation:
    """Draws of the lots that may be chosen, and noise of cups that are not yet tasted.

    ``worth`` is float64[n_draws, n_candidates], ``lot`` float64[n_draws, n_first] of the likeliest lots alone,
    ``gain``, ``noise_sd`` and ``taste_sd`` float64[n_draws, n_tasters], ``taste`` and ``noise`` standard normal draws,
    float64[n_draws, n_tasters, n_first].
    """

    def __init__(self, draws: Draws, *, candidates: IndexArray, rng: Generator) -> None:
        self.worth = draws.worth()[:, candidates]
        self.best = self.worth.argmax(axis=1)
        self.means = self.worth.mean(axis=0)
        p_best = np.bincount(self.best, minlength=candidates.size) / self.best.size
        self.order = np.lexsort((-self.means, -p_best))
        self.p_right = float(p_best[self.means.argmax()])
        first = self.order[:MOST_LOTS]
        self.lot = draws.lot[:, candidates[first]]
        self.gain, self.noise_sd = draws.gain, draws.taster_noise_sd
        self.taste_sd = draws.taste_sd[:, None] * draws.taster_noise_sd / draws.noise_sd[:, None]
        shape = (self.worth.shape[0], draws.gain.shape[1], first.size)
        self.taste, self.noise = rng.standard_normal(shape), rng.standard_normal(shape)

    def after(self, n: int, *, group: Sequence[int], times: int) -> tuple[float, float]:
        """Return the gain and the probability of being right once the first ``n`` lots have been tasted again."""
        estimate = np.zeros((self.worth.shape[0], n))
        weights = 0.0
        for taster in group:
            gain = float(self.gain[:, taster].mean())
            variance = float((self.taste_sd[:, taster] ** 2 + self.noise_sd[:, taster] ** 2 / times).mean())
            score = (
                self.gain[:, taster, None] * self.lot[:, :n]
                + self.taste_sd[:, taster, None] * self.taste[:, taster, :n]
                + self.noise_sd[:, taster, None] * self.noise[:, taster, :n] / times**0.5
            )
            estimate += gain / variance * (score - score.mean(axis=1, keepdims=True))
            weights += gain**2 / variance
        estimate = (estimate - estimate.mean(axis=0)) / weights
        expected = self.means + self._regress_worth(estimate)
        chosen = expected.argmax(axis=1)
        gained = float(expected.max(axis=1).mean() - self.means.max())
        return max(gained, 0.0), float((chosen == self.best).mean())

    def _regress_worth(self, estimate: FloatArray) -> FloatArray:
        """Return the lots' expected difference from their means, given the estimates of the lots tasted."""
        covariance = estimate.T @ estimate
        slope = np.linalg.lstsq(covariance, estimate.T @ (self.worth - self.means), rcond=1e-9)[0]
        return np.asarray(estimate @ slope, dtype=np.float64)
