"""The posterior of one attribute's strength in the cup, on a grid and without a sampler.

Only k, tau, n and sigma are not linear, and they are on a fixed grid; at each node the level ``a`` is normal
(:mod:`tastings.maths.curve.sufficient_statistics`). Node weights times that normal are the posterior: deterministic,
no convergence to watch.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtri

from tastings.maths.arrays import FloatArray, IndexArray
from tastings.maths.brewing.brews import HIGHEST, LOWEST, TasterScale
from tastings.maths.brewing.even_brew import EvenBrew
from tastings.maths.brewing.extraction import Grid, cup_strength_by_leaf
from tastings.maths.brewing.heat import steeping_of
from tastings.maths.curve.heat_error import RateError
from tastings.maths.curve.level import LEVEL_MEAN, LEVEL_SD, USUAL_SIGMA
from tastings.maths.curve.outliers import (
    MAX_OUTLIER_SHARE,
    MIN_OTHER_SESSIONS,
    OUTLIER_P,
    SUSPECT_P,
    outlier_p_values,
    predicted_cups,
)
from tastings.maths.curve.scale_effects import TeamStatistics, expected_absent_tasters, sum_tasters
from tastings.maths.curve.sufficient_statistics import SIGMA, SessionRatings, TasterStatistics, level_at_nodes
from tastings.maths.curve.totals_cache import TOTALS_CACHE, Group

N_DRAWS = 1024
GOLDEN_RATIO = 0.6180339887498949
_RATE_STEP = 2**0.5 - 1  # another lattice than that of the level
MIN_NODE_WEIGHT = 1e-7
"""Nodes of less weight, together below a thousandth, are left out."""
N_ABSENT_UNCENTRED = 1e9
"""So many absent tasters that the mean of those present is not constrained."""

SIGMA_SPREAD = 0.6
"""Of log sigma before any evidence: 1.5 sds reach the 1.8 points of retests in published panels."""
_SIGMA_WEIGHT = np.exp(-0.5 * ((np.log(SIGMA) - np.log(USUAL_SIGMA)) / SIGMA_SPREAD) ** 2)
SIGMA_LOG_PRIOR = np.log(_SIGMA_WEIGHT / _SIGMA_WEIGHT.sum())
SIGMA_LOG_PRIOR.setflags(write=False)


@dataclass(frozen=True, slots=True)
class CurveDraws:
    """Equally likely draws: a node of the grid and a level ``a``, never below 0 [points]."""

    node: IndexArray
    level: FloatArray

    def cups(self, cups: FloatArray) -> FloatArray:
        """Return float64[n_draws, n]: ``a h`` of each draw, clipped to the scale [points, 0 to 10]."""
        return self.on_scale(cups[self.node])

    def on_scale(self, cups: FloatArray) -> FloatArray:
        """Return the cups of each draw's own leaf, float64[n_draws, n], at the draw's level. [points, 0 to 10]."""
        return np.clip(self.level[:, None] * cups, LOWEST, HIGHEST)

    def even_cups(self, even_brew: EvenBrew, *, infusions: int, rate: RateError, grid: Grid) -> FloatArray:
        """Return the strength h of the even brew for the leaf of each draw, float64[n_draws, infusions].

        Each draw has its own error of the rate (:mod:`tastings.maths.curve.heat_error`), spread evenly.
        """
        i_k, i_tau, i_n = np.unravel_index(self.node, grid.shape)
        quantile = np.clip((0.5 + np.arange(self.node.size) * _RATE_STEP) % 1.0, 1e-6, 1 - 1e-6)
        brew = even_brew.brew(infusions=infusions)
        cups = cup_strength_by_leaf(
            steeping_of(brew, brew.pours),
            k_per_min=grid.k_per_min[i_k] * np.exp(rate.mean + rate.sd * ndtri(quantile)),
            tau_s=grid.tau_s[i_tau],
            n=grid.n[i_n],
        )
        return cups[:, -infusions:]


@dataclass(frozen=True, slots=True)
class Posterior:
    """Node weights times a normal in the level ``a``.

    Parameters
    ----------
    weights, mean, sd : float64[n_sigma, n_nodes]
        Weight of each node (they sum to 1) and the normal of ``a`` there. [points]
    outliers : tuple[int, ...]
        Places of the sessions that were left out (:mod:`tastings.maths.curve.outliers`).
    """

    weights: FloatArray
    mean: FloatArray
    sd: FloatArray
    outliers: tuple[int, ...] = ()

    @property
    def node_weights(self) -> FloatArray:
        """Return the weight of each node of k, tau, n, whatever sigma is."""
        return np.asarray(self.weights.sum(axis=0), dtype=np.float64)

    @property
    def node_level(self) -> FloatArray:
        """Return the weight of each node times the mean level there, so that ``node_level @ cups`` is a mean cup."""
        return np.asarray((self.weights * self.mean).sum(axis=0), dtype=np.float64)

    @property
    def sigma(self) -> float:
        """Return the mean noise of one rating [points]."""
        return float(SIGMA @ self.weights.sum(axis=1))

    def on(self, index: IndexArray) -> "Posterior":
        """Return the posterior on some of the nodes, the others taken to weigh nothing."""
        weights = self.weights[:, index]
        return replace(self, weights=weights / weights.sum(), mean=self.mean[:, index], sd=self.sd[:, index])

    def draws(self, *, n_draws: int = N_DRAWS) -> CurveDraws:
        """Return draws spread evenly over the posterior; the same posterior gives the same draws.

        Notes
        -----
        A rank-one lattice: evenly spaced steps along the cumulative node weights, each paired with a normal quantile
        that moves on by the golden ratio.
        """
        step = np.arange(n_draws)
        cumulative = np.cumsum(self.weights, axis=None)
        target = (step + 0.5) / n_draws * cumulative[-1]
        index = np.minimum(np.searchsorted(cumulative, target), cumulative.size - 1)
        quantile = np.clip((0.5 + step * GOLDEN_RATIO) % 1.0, 1e-6, 1 - 1e-6)
        level = self.mean.ravel()[index] + self.sd.ravel()[index] * ndtri(quantile)
        return CurveDraws(node=index % self.mean.shape[1], level=np.maximum(level, 0.0))


def fit(tasted: Sequence[SessionRatings], *, grid: Grid, centre_on_team: bool = True) -> Posterior:
    """Return the posterior of one attribute; arguments as in :func:`fit_all`."""
    return fit_all({"": tasted}, grid=grid, centre_on_team=centre_on_team)[""]


def fit_all(
    tasted: Mapping[str, Sequence[SessionRatings]], *, grid: Grid, centre_on_team: bool = True
) -> dict[str, Posterior]:
    """Return the posterior of each attribute of a lot.

    Parameters
    ----------
    tasted : Mapping[str, Sequence[SessionRatings]]
        By attribute, one entry per session; none gives the prior.
    grid : Grid
        The nodes to compute on.
    centre_on_team : bool
        Whether the scale is centred on the team's mean (:mod:`tastings.maths.curve.scale_effects`). False when one
        group of tasters is compared with another.

    Returns
    -------
    dict[str, Posterior]
        Over the nodes of ``grid`` times the values of :data:`tastings.maths.curve.sufficient_statistics.SIGMA`.

    Notes
    -----
    Priors: a ~ N(6, 4) with 4 the standard deviation, log sigma ~ N(log 0.75, 0.6), and those of the grid. The
    totals of tasters are cached between calls (:mod:`tastings.maths.curve.totals_cache`), so only new sessions cost
    time.
    """
    found = _fit_posteriors(tasted, grid=grid, centre_on_team=centre_on_team)
    many = {key: sessions for key, sessions in tasted.items() if len(sessions) > MIN_OTHER_SESSIONS}
    p_values = _outlier_p_values(many, found=found, grid=grid)
    return found | {
        key: _exclude_outliers(
            key, sessions, found=found[key], p_values=p_values[key], grid=grid, centre_on_team=centre_on_team
        )
        for key, sessions in many.items()
    }


def _fit_posteriors(
    tasted: Mapping[str, Sequence[SessionRatings]], *, grid: Grid, centre_on_team: bool
) -> dict[str, Posterior]:
    groups: dict[Group, list[SessionRatings]] = {}
    scales: dict[Group, TasterScale] = {}
    for key, sessions in tasted.items():
        for one in sorted(sessions, key=lambda one: one.taster):
            groups.setdefault((key, one.taster), []).append(one)
            scales[key, one.taster] = one.scale
    totals = TOTALS_CACHE.totals(groups, grid=grid)
    found = {}
    for key in tasted:
        own = {group: total for group, total in totals.items() if group[0] == key}
        level = level_at_nodes(own.values(), grid=grid)
        tasters = ((TasterStatistics.of(total), scales[group]) for group, total in own.items())
        n_absent = (
            expected_absent_tasters(
                [len(groups[group]) for group in own],
                n_tasters=max((one.n_tasters or 0 for one in tasted[key]), default=0) or None,
            )
            if centre_on_team
            else N_ABSENT_UNCENTRED
        )
        found[key] = posterior_from(sum_tasters(tasters, level=level), n_absent=n_absent, grid=grid)
    return found


def _exclude_outliers(  # noqa: PLR0913 - a step of fit_all, which has each of them at hand
    key: str,
    sessions: Sequence[SessionRatings],
    *,
    found: Posterior,
    p_values: FloatArray,
    grid: Grid,
    centre_on_team: bool,
) -> Posterior:
    """Exclude outlying sessions one at a time, lowest p value first."""
    max_outliers = min(int(MAX_OUTLIER_SHARE * len(sessions)), len(sessions) - MIN_OTHER_SESSIONS)
    while len(found.outliers) < max_outliers and p_values.min() < SUSPECT_P:
        index_of_lowest = int(p_values.argmin())
        left_out = (*found.outliers, index_of_lowest)
        others = [one for i, one in enumerate(sessions) if i not in left_out]
        without = replace(
            _fit_posteriors({key: others}, grid=grid, centre_on_team=centre_on_team)[key], outliers=left_out
        )
        p_values = _outlier_p_values({key: sessions}, found={key: without}, grid=grid)[key]
        if p_values[index_of_lowest] > OUTLIER_P:
            break
        found = without
        p_values[list(left_out)] = 1.0
    return found


def _outlier_p_values(
    tasted: Mapping[str, Sequence[SessionRatings]], *, found: Mapping[str, Posterior], grid: Grid
) -> dict[str, FloatArray]:
    """Return the p value of each session under the fit of its attribute."""
    if not tasted:
        return {}
    likely = np.logical_or.reduce([found[key].node_weights > MIN_NODE_WEIGHT for key in tasted])
    part, index = grid.around(likely)
    levels = np.stack([found[key].node_level[index] for key in tasted])
    predicted = predicted_cups(list(tasted.values()), node_levels=levels, grid=part)
    return {
        key: outlier_p_values(sessions, predicted=cups, sigma=found[key].sigma)
        for (key, sessions), cups in zip(tasted.items(), predicted, strict=True)
    }


def posterior_from(statistics: TeamStatistics, *, n_absent: float, grid: Grid) -> Posterior:
    """Return the posterior from the priors and the statistics of some tasters."""
    centred = statistics.centred_on_team(n_absent=n_absent)
    precision = centred.precision + LEVEL_SD**-2
    mean = (centred.cross + LEVEL_MEAN / LEVEL_SD**2) / precision
    log_weight = 0.5 * (precision * mean * mean - np.log(precision) - centred.constant)
    log_weight += grid.log_prior + SIGMA_LOG_PRIOR[:, None]
    weights = np.exp(log_weight - log_weight.max())
    return Posterior(weights=weights / weights.sum(), mean=mean, sd=precision**-0.5)
