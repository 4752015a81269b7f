"""The posterior of one attribute's strength in the cup, on a grid and without a sampler.

Only k, tau, n and sigma are not linear, and they are on a fixed grid; at each node the level ``a`` is normal
(:mod:`tastings.maths.curve.sufficient_statistics`). Node weights times that normal are the posterior: deterministic,
no convergence to watch.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtri

from tastings.maths.arrays import BoolArray, FloatArray, IndexArray
from tastings.maths.brewing.brews import HIGHEST, LOWEST, TasterScale
from tastings.maths.brewing.even_brew import EvenBrew
from tastings.maths.brewing.extraction import Grid, cup_strength_by_leaf
from tastings.maths.brewing.heat import steeping_of
from tastings.maths.curve.heat_error import RateError
from tastings.maths.curve.level import LEVEL_MEAN, LEVEL_SD, USUAL_SIGMA
from tastings.maths.curve.order_slope import BROAD_SD, MOSTLY, NO_SLOPE, OrderSlope, SlopeEvidence
from tastings.maths.curve.outliers import (
    MAX_OUTLIER_SHARE,
    MIN_OTHER_SESSIONS,
    OUTLIER_P,
    SUSPECT_P,
    outlier_p_values,
    predicted_cups,
)
from tastings.maths.curve.scale_effects import Quadratic, TeamStatistics, expected_absent_tasters, sum_tasters
from tastings.maths.curve.sufficient_statistics import SIGMA, SessionRatings, TasterStatistics, level_at_nodes
from tastings.maths.curve.totals_cache import TOTALS_CACHE, Group

N_DRAWS = 1024
GOLDEN_RATIO = 0.6180339887498949
_RATE_STEP = 2**0.5 - 1  # another lattice than that of the level
MIN_NODE_WEIGHT = 1e-7
"""Nodes of less weight, together below a thousandth, are left out."""
NO_SLOPES: Mapping[str, OrderSlope] = {}
LEAST_EVIDENCE = 0.01
"""Precision of a slope, against that of the normal it is worked out under, below which ratings say nothing of it."""
N_ABSENT_UNCENTRED = 1e9
"""A number of absent tasters so large that the mean of those present is not constrained."""

LESS_NOISE, MORE_NOISE = 0.6, 0.9
"""Prior sds of log sigma below and above the usual noise. The 1.8 points of retests in published panels are one sd up:
the few ratings of one session could not tell such noise from the usual if it were unlikely."""
_SIGMA_WEIGHT = np.exp(
    -0.5 * (np.log(SIGMA / USUAL_SIGMA) / np.where(SIGMA > USUAL_SIGMA, MORE_NOISE, LESS_NOISE)) ** 2
)
SIGMA_LOG_PRIOR = np.log(_SIGMA_WEIGHT / _SIGMA_WEIGHT.sum())
SIGMA_LOG_PRIOR.setflags(write=False)


@dataclass(frozen=True, slots=True)
class CurveDraws:
    """Equally likely draws: a node of the grid and a level ``a``, never below 0 [points]."""

    node: IndexArray
    level: FloatArray
    in_mean: BoolArray | None = None
    """Which of them make the mean curve; all where None."""

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
        quantile = (0.5 + np.arange(self.node.size) * _RATE_STEP) % 1.0  # never 0: the step is irrational
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
    """Node weights times a normal in the level ``a``."""

    # weights, mean, sd: float64[n_sigma, n_nodes] or float64[2 n_sigma, n_nodes]: weight of each node (they sum to 1)
    # and the normal of `a` there; the second half of the rows is for a slope of the cups' order
    # (`tastings.maths.curve.order_slope`) [points]
    weights: FloatArray
    mean: FloatArray
    sd: FloatArray
    outliers: tuple[int, ...] = ()  # places of the sessions that were left out (`tastings.maths.curve.outliers`)
    slope: float = 0.0  # that slope on average, given that there is one [points a cup]
    slope_evidence: SlopeEvidence | None = None  # what these ratings say of it; None where no slope was looked for

    @property
    def slope_probability(self) -> float:
        """Return the probability that the order of the cups moves their ratings."""
        return float(self.weights[SIGMA.size :].sum())

    @property
    def slope_shown(self) -> float:
        """Return the slope that the mean curve is without; 0 until one is probable enough."""
        return self.slope if self.slope_probability >= MOSTLY else 0.0

    @property
    def n_rows_in_mean(self) -> int:
        """Return how many rows make the mean curve."""
        return len(self.weights) if self.slope_probability >= MOSTLY else SIGMA.size

    @property
    def node_weights(self) -> FloatArray:
        """Return the weight of each node of k, tau, n, whatever sigma is."""
        return np.asarray(self.weights.sum(axis=0), dtype=np.float64)

    @property
    def node_level(self) -> FloatArray:
        """Return the weight of each node in the mean curve times the mean level there.

        So ``node_level @ cups`` is a mean cup.
        """
        weights = self.weights[: self.n_rows_in_mean]
        return np.asarray((weights * self.mean[: len(weights)]).sum(axis=0) / weights.sum(), dtype=np.float64)

    @property
    def sigma(self) -> float:
        """Return the mean noise of one rating [points]."""
        return float(np.resize(SIGMA, len(self.weights)) @ self.weights.sum(axis=1))

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
        cumulative = np.cumsum(self.weights)
        target = (step + 0.5) / n_draws * cumulative[-1]
        index = np.searchsorted(cumulative, target)
        quantile = (0.5 + step * GOLDEN_RATIO) % 1.0
        level = self.mean.ravel()[index] + self.sd.ravel()[index] * ndtri(quantile)
        n_nodes = self.mean.shape[1]
        return CurveDraws(
            node=index % n_nodes, level=np.maximum(level, 0.0), in_mean=index < self.n_rows_in_mean * n_nodes
        )


def fit(tasted: Sequence[SessionRatings], *, grid: Grid, centre_on_team: bool = True) -> Posterior:
    """Return the posterior of one attribute; arguments as in :func:`fit_all`."""
    return fit_all({"": tasted}, grid=grid, centre_on_team=centre_on_team)[""]


def fit_all(
    tasted: Mapping[str, Sequence[SessionRatings]],
    *,
    grid: Grid,
    centre_on_team: bool = True,
    slopes: Mapping[str, OrderSlope] = NO_SLOPES,
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
    slopes : Mapping[str, OrderSlope]
        What is believed of the slope of the cups' order, by attribute; none of those not in it.

    Returns
    -------
    dict[str, Posterior]
        Over the nodes of ``grid`` times the values of :data:`tastings.maths.curve.sufficient_statistics.SIGMA`.

    Notes
    -----
    Priors: a ~ N(6, 4) with 4 the standard deviation, log sigma normal about log 0.75 with sds of 0.6 below and 0.9
    above, and those of the grid. The totals of tasters are cached between calls
    (:mod:`tastings.maths.curve.totals_cache`), so only new sessions cost time.
    """
    posteriors = _fit_posteriors(tasted, grid=grid, centre_on_team=centre_on_team, slopes=slopes)
    many = {key: sessions for key, sessions in tasted.items() if len(sessions) > MIN_OTHER_SESSIONS}
    p_values = _outlier_p_values(many, posteriors=posteriors, grid=grid)
    return posteriors | {
        key: _exclude_outliers(
            key,
            sessions,
            posterior=posteriors[key],
            p_values=p_values[key],
            grid=grid,
            centre_on_team=centre_on_team,
            slopes=slopes,
        )
        for key, sessions in many.items()
    }


def _fit_posteriors(
    tasted: Mapping[str, Sequence[SessionRatings]],
    *,
    grid: Grid,
    centre_on_team: bool,
    slopes: Mapping[str, OrderSlope],
) -> dict[str, Posterior]:
    groups: dict[Group, list[SessionRatings]] = {}
    scales: dict[Group, TasterScale] = {}
    for key, sessions in tasted.items():
        for session in sorted(sessions, key=lambda row: row.taster):
            groups.setdefault((key, session.taster), []).append(session)
            scales[key, session.taster] = session.scale
    totals = TOTALS_CACHE.totals(groups, grid=grid)
    posteriors = {}
    for key in tasted:
        own = {group: total for group, total in totals.items() if group[0] == key}
        level = level_at_nodes(own.values(), grid=grid)
        tasters = ((TasterStatistics.of(total), scales[group]) for group, total in own.items())
        n_absent = (
            expected_absent_tasters(
                [len(groups[group]) for group in own],
                n_tasters=max((session.n_tasters or 0 for session in tasted[key]), default=0) or None,
            )
            if centre_on_team
            else N_ABSENT_UNCENTRED
        )
        posteriors[key] = posterior_from(
            sum_tasters(tasters, level=level), n_absent=n_absent, grid=grid, slope=slopes.get(key, NO_SLOPE)
        )
    return posteriors


def _exclude_outliers(  # noqa: PLR0913 - a step of fit_all, which has each of them at hand
    key: str,
    sessions: Sequence[SessionRatings],
    *,
    posterior: Posterior,
    p_values: FloatArray,
    grid: Grid,
    centre_on_team: bool,
    slopes: Mapping[str, OrderSlope],
) -> Posterior:
    """Exclude outlying sessions one at a time, lowest p value first."""
    max_outliers = int(MAX_OUTLIER_SHARE * len(sessions))
    while len(posterior.outliers) < max_outliers and p_values.min() < SUSPECT_P:
        index_of_lowest = int(p_values.argmin())
        left_out = (*posterior.outliers, index_of_lowest)
        others = [session for i, session in enumerate(sessions) if i not in left_out]
        without = replace(
            _fit_posteriors({key: others}, grid=grid, centre_on_team=centre_on_team, slopes=slopes)[key],
            outliers=left_out,
        )
        p_values = _outlier_p_values({key: sessions}, posteriors={key: without}, grid=grid)[key]
        if p_values[index_of_lowest] > OUTLIER_P:
            break
        posterior = without
        p_values[list(left_out)] = 1.0
    return posterior


def _outlier_p_values(
    tasted: Mapping[str, Sequence[SessionRatings]], *, posteriors: Mapping[str, Posterior], grid: Grid
) -> dict[str, FloatArray]:
    """Return the p value of each session under the fit of its attribute."""
    if not tasted:
        return {}
    likely = np.logical_or.reduce([posteriors[key].node_weights > MIN_NODE_WEIGHT for key in tasted])
    part, index = grid.around(likely)
    levels = np.stack([posteriors[key].node_level[index] for key in tasted])
    predicted = predicted_cups(list(tasted.values()), node_levels=levels, grid=part)
    return {
        key: outlier_p_values(sessions, predicted=cups, sigma=posteriors[key].sigma, slope=posteriors[key].slope_shown)
        for (key, sessions), cups in zip(tasted.items(), predicted, strict=True)
    }


def posterior_from(
    statistics: TeamStatistics, *, n_absent: float, grid: Grid, slope: OrderSlope = NO_SLOPE
) -> Posterior:
    """Return the posterior from the priors and the statistics of some tasters."""
    centred = statistics.centred_on_team(n_absent=n_absent)
    without = _normals(centred, grid=grid)
    if not slope.probability:
        weights = np.exp(without.log_weight - without.log_weight.max())
        return Posterior(weights=weights / weights.sum(), mean=without.mean, sd=without.precision**-0.5)
    with_slope = _normals(centred.without_slope(mean=slope.mean, sd=slope.sd), grid=grid)
    log_weight = np.concatenate(
        [np.log1p(-slope.probability) + without.log_weight, np.log(slope.probability) + with_slope.log_weight]
    )
    weights = np.exp(log_weight - log_weight.max())
    return Posterior(
        weights=weights / weights.sum(),
        mean=np.concatenate([without.mean, with_slope.mean]),
        sd=np.concatenate([without.precision, with_slope.precision]) ** -0.5,
        slope=_slope_of(centred, with_slope, mean=slope.mean, sd=slope.sd)[0],
        slope_evidence=_slope_evidence(centred, grid=grid),
    )


@dataclass(frozen=True, slots=True)
class _Normals:
    """At each node the normal of the level, and the log weight of the node, up to a number."""

    precision: FloatArray
    mean: FloatArray
    log_weight: FloatArray


def _normals(likelihood: Quadratic, *, grid: Grid) -> _Normals:
    precision = likelihood.precision + LEVEL_SD**-2
    mean = (likelihood.cross + LEVEL_MEAN / LEVEL_SD**2) / precision
    log_weight = 0.5 * (precision * mean * mean - np.log(precision) - likelihood.constant)
    log_weight += grid.log_prior + SIGMA_LOG_PRIOR[:, None]
    return _Normals(precision, mean, log_weight)


def _slope_of(likelihood: Quadratic, levels: _Normals, *, mean: float, sd: float) -> tuple[float, float]:
    """Return mean and variance of the slope, N(mean, sd) before any evidence."""
    weights = np.exp(levels.log_weight - levels.log_weight.max())
    weights /= weights.sum()
    precision = likelihood.order_order + sd**-2
    at_node = (likelihood.order_cross + mean * sd**-2 - likelihood.order_level * levels.mean) / precision
    variance = 1 / precision + (likelihood.order_level / precision) ** 2 / levels.precision
    overall = float((weights * at_node).sum())
    return overall, float((weights * (variance + (at_node - overall) ** 2)).sum())


def _slope_evidence(likelihood: Quadratic, *, grid: Grid) -> SlopeEvidence | None:
    """Return the normal that the likelihood of the slope resembles; None where it says nothing."""
    levels = _normals(likelihood.without_slope(mean=0.0, sd=BROAD_SD), grid=grid)
    mean, variance = _slope_of(likelihood, levels, mean=0.0, sd=BROAD_SD)
    precision = 1 / variance - BROAD_SD**-2
    if precision * BROAD_SD**2 < LEAST_EVIDENCE:
        return None
    return SlopeEvidence(mean=mean / variance / precision, sd=precision**-0.5)
