"""What the ratings of one attribute say about its strength in the cup: a posterior on a grid, without a sampler.

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
from tastings.maths.brewing.extraction import Grid
from tastings.maths.curve.level import LEVEL_MEAN, LEVEL_SD, USUAL_SIGMA
from tastings.maths.curve.outliers import LEAST_OTHERS, MOST_SHARE, RARE, SUSPECT, predictions, rarity
from tastings.maths.curve.scale_effects import TeamStatistics, expected_absent_tasters, sum_tasters
from tastings.maths.curve.sufficient_statistics import SIGMA, Tasted, TasterStatistics, level_at_nodes
from tastings.maths.curve.totals_cache import TOTALS_CACHE, Group

N_DRAWS = 1024
GOLDEN = 0.6180339887498949
LIGHTEST = 1e-7
"""Nodes of less weight, all together below a thousandth, are left out of what is shown."""
COUNTLESS = 1e9
"""So many absent tasters that the mean of those present is left free."""

_SIGMA_WEIGHT = np.exp(-0.5 * ((np.log(SIGMA) - np.log(USUAL_SIGMA)) / 0.35) ** 2)
SIGMA_LOG_PRIOR = np.log(_SIGMA_WEIGHT / _SIGMA_WEIGHT.sum())
SIGMA_LOG_PRIOR.setflags(write=False)


@dataclass(frozen=True, slots=True)
class Draws:
    """Equally likely draws: a node of the grid and a level ``a``, never below 0 [points]."""

    node: IndexArray
    level: FloatArray

    def cups(self, cups: FloatArray) -> FloatArray:
        """Return float64[n_draws, n]: ``a h`` of each draw, held to the scale [points, 0 to 10]."""
        return np.clip(self.level[:, None] * cups[self.node], LOWEST, HIGHEST)


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

    def draws(self, *, n_draws: int = N_DRAWS) -> Draws:
        """Return draws spread evenly over the posterior; the same posterior gives the same draws.

        Notes
        -----
        A rank-one lattice: evenly spaced steps along the cumulative node weights, each paired with a normal quantile
        that moves on by the golden ratio.
        """
        step = np.arange(n_draws)
        ladder = np.cumsum(self.weights, axis=None)
        index = np.minimum(np.searchsorted(ladder, (step + 0.5) / n_draws * ladder[-1]), ladder.size - 1)
        quantile = np.clip((0.5 + step * GOLDEN) % 1.0, 1e-6, 1 - 1e-6)
        level = self.mean.ravel()[index] + self.sd.ravel()[index] * ndtri(quantile)
        return Draws(node=index % self.mean.shape[1], level=np.maximum(level, 0.0))


def fit(tasted: Sequence[Tasted], *, grid: Grid, held: bool = True) -> Posterior:
    """Return the posterior of one attribute; arguments as in :func:`fit_all`."""
    return fit_all({"": tasted}, grid=grid, held=held)[""]


def fit_all(tasted: Mapping[str, Sequence[Tasted]], *, grid: Grid, held: bool = True) -> dict[str, Posterior]:
    """Return the posterior of each attribute of a lot.

    Parameters
    ----------
    tasted : Mapping[str, Sequence[Tasted]]
        By attribute, one entry per session; none gives the prior.
    grid : Grid
        The nodes to compute on.
    held : bool
        Whether the scale is held to the mean of the tasters' team (:mod:`tastings.maths.curve.scale_effects`). Not so
        where what some of them say is set against what others say: both cannot be the whole team.

    Returns
    -------
    dict[str, Posterior]
        Over the nodes of ``grid`` times the values of :data:`tastings.maths.curve.sufficient_statistics.SIGMA`.

    Notes
    -----
    Priors: a ~ N(6, 4) with 4 the standard deviation, log sigma ~ N(log 0.75, 0.35), and those of the grid. What a
    taster's sessions add up to is kept between calls (:mod:`tastings.maths.curve.totals_cache`), so only new sessions
    cost.
    """
    found = _fitted(tasted, grid=grid, held=held)
    many = {key: sessions for key, sessions in tasted.items() if len(sessions) > LEAST_OTHERS}
    looks = _rarity(many, found=found, grid=grid)
    return found | {
        key: _without_outliers(key, sessions, found=found[key], looks=looks[key], grid=grid, held=held)
        for key, sessions in many.items()
    }


def _fitted(tasted: Mapping[str, Sequence[Tasted]], *, grid: Grid, held: bool) -> dict[str, Posterior]:
    groups: dict[Group, list[Tasted]] = {}
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
        n_absent = expected_absent_tasters([len(groups[group]) for group in own]) if held else COUNTLESS
        found[key] = posterior_from(sum_tasters(tasters, level=level), n_absent=n_absent, grid=grid)
    return found


def _without_outliers(  # noqa: PLR0913 - a step of fit_all, which has each of them at hand
    key: str, sessions: Sequence[Tasted], *, found: Posterior, looks: FloatArray, grid: Grid, held: bool
) -> Posterior:
    """Leave out one session after the other, the strangest first, as long as the others find it strange."""
    most = min(int(MOST_SHARE * len(sessions)), len(sessions) - LEAST_OTHERS)
    while len(found.outliers) < most and looks.min() < SUSPECT:
        place = int(looks.argmin())
        left_out = (*found.outliers, place)
        others = [one for i, one in enumerate(sessions) if i not in left_out]
        without = replace(_fitted({key: others}, grid=grid, held=held)[key], outliers=left_out)
        looks = _rarity({key: sessions}, found={key: without}, grid=grid)[key]
        if looks[place] > RARE:
            break
        found = without
        looks[list(left_out)] = 1.0
    return found


def _rarity(
    tasted: Mapping[str, Sequence[Tasted]], *, found: Mapping[str, Posterior], grid: Grid
) -> dict[str, FloatArray]:
    """Return how strange each session looks to the fit of its attribute."""
    if not tasted:
        return {}
    likely = np.logical_or.reduce([found[key].node_weights > LIGHTEST for key in tasted])
    part, index = grid.around(likely)
    levels = np.stack([found[key].node_level[index] for key in tasted])
    predicted = predictions(list(tasted.values()), node_levels=levels, grid=part)
    return {
        key: rarity(sessions, predicted=cups, sigma=found[key].sigma)
        for (key, sessions), cups in zip(tasted.items(), predicted, strict=True)
    }


def posterior_from(sums: TeamStatistics, *, n_absent: float, grid: Grid) -> Posterior:
    """Return the posterior that the priors and the sums of some tasters make."""
    said = sums.centred_on_team(n_absent=n_absent)
    precision = said.precision + LEVEL_SD**-2
    mean = (said.cross + LEVEL_MEAN / LEVEL_SD**2) / precision
    log_weight = 0.5 * (precision * mean * mean - np.log(precision) - said.constant)
    log_weight += grid.log_prior + SIGMA_LOG_PRIOR[:, None]
    weights = np.exp(log_weight - log_weight.max())
    return Posterior(weights=weights / weights.sum(), mean=mean, sd=precision**-0.5)
