"""How a flavour fades over the days: one value of each session, and the curve fitted to them.

Each session alone gives the attribute of its cups on the even brew (mean of the first eight infusions) with a
variance. Over the days these values follow ``floor + (start - floor) 2^(-day / half_life)``, plus noise from session
to session; a taster's own offset and gain are shared by all of that taster's sessions. Half-life, floor, start and
noise are on a fixed grid, so the answer is deterministic.

Priors: half-life log-normal around 45 days (four of five from 16 to 125), start N(5, 2.5) or that of its degree of
roast, floor N(1.5, 2) but never above the start or below 0. That a fired tea settles within one month to a few, some
within a year, is common practice, no source; no month-by-month series of tastings is published, so only the arithmetic
is checked from outside.
"""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr, ndtri

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import TasterScale
from tastings.maths.brewing.even_brew import EvenBrew
from tastings.maths.brewing.extraction import Grid
from tastings.maths.certainty import never_certain
from tastings.maths.comparison.side_by_side import FIRST_INFUSIONS, N_DRAWS
from tastings.maths.curve.evidence import PreparedSession
from tastings.maths.curve.level import USUAL_SIGMA
from tastings.maths.curve.posterior import SIGMA_LOG_PRIOR, Posterior, fit
from tastings.maths.curve.profile import TAIL, weighted_quantile
from tastings.maths.curve.scale_effects import expected_absent_tasters, is_calibrated, unknown_shift_sd
from tastings.maths.curve.sufficient_statistics import SIGMA, session_shift_sd

LEAST_SPAN_DAYS = 7

HALF_LIFE_DAYS = np.geomspace(5.0, 1500.0, 32)
FLOOR = np.arange(0.125, 8.0, 0.25)
START = np.arange(0.125, 10.0, 0.25)
NOISE = np.array([0.05, 0.1, 0.2, 0.4, 0.8])
"""From session to session: how much is learned, since sessions of a steady team differ by less than others. [points]"""
USUAL_SESSION_SD = float(session_shift_sd(USUAL_SIGMA))
"""What a taster's sessions usually differ by, at the usual noise of ratings. [points]"""
_NOISE_FACTOR_SD = 0.7
HALF_LIFE_MEDIAN_DAYS, HALF_LIFE_LOG_SD = 45.0, 0.8
"""How long half of what fades takes, before any evidence: median and sd of its logarithm."""
FLOOR_MEAN, FLOOR_SD = 1.5, 2.0
"""Where it settles, before any evidence. [points]"""
START_MEAN, START_SD = 5.0, 2.5
"""Roast on the first day of a tea whose degree of roast is not known. [points]"""
_LEAST_PRECISION = 0.02
_LEAST_VARIANCE = 0.15**2
"""A session of nothing but zeros still leaves half a step of the scale unseen, whose standard deviation this is."""
_LEAST_WEIGHT = 1e-7
_LEVEL_STEP = 0.25
_LEVELS = np.arange(0.0, 10.0 + _LEVEL_STEP, _LEVEL_STEP)
"""Levels by which a taster's gain multiplies: each curve takes the nearest. [points]"""


@dataclass(frozen=True, slots=True)
class Value:
    """One session's value of an attribute on the even brew: mean of the first eight cups and its variance.

    The variance is that of the ratings alone: ``scale`` describes the taster's gain and shift, and ``session_sd`` is
    what sessions of such tasters usually differ by [points].
    """

    session: str
    taster: str
    day: float
    mean: float
    variance: float
    scale: TasterScale
    session_sd: float = USUAL_SESSION_SD


@dataclass(frozen=True, slots=True)
class Fade:
    """The posterior of the fading curve: nodes of half-life [days], floor and start [points], weights that sum to 1.

    ``noise_weights`` is how probable each of :data:`NOISE` is.
    """

    half_life_days: FloatArray
    floor: FloatArray
    start: FloatArray
    weights: FloatArray
    noise_weights: FloatArray

    def at(self, day: float) -> FloatArray:
        """Return the value of each node so many days after roasting. [points]."""
        decay = np.exp2(-day / self.half_life_days)
        return np.asarray(self.floor + (self.start - self.floor) * decay, dtype=np.float64)

    def under(self, level: float) -> FloatArray:
        """Return the day on which each node falls under a level: 0 if it starts there, inf if it never does."""
        above = np.maximum(self.floor - level, 0.0) > 0
        with np.errstate(divide="ignore", invalid="ignore"):
            days = self.half_life_days * np.log2((self.start - self.floor) / (level - self.floor))
        days = np.where(self.start <= level, 0.0, np.where(above | (self.floor == level), np.inf, days))
        return np.asarray(days, dtype=np.float64)

    def quantiles(self, values: FloatArray) -> tuple[float, float, float]:
        """Return the 10 %, 50 % and 90 % quantile of one value per node."""
        low, middle, high = (
            weighted_quantile(values, weights=self.weights, level=part) for part in (TAIL, 0.5, 1 - TAIL)
        )
        return low, middle, high


@dataclass(frozen=True, slots=True)
class Trend:
    """How an attribute moves: points per 30 days, central 80 %, and the probability that it rises."""

    per_30_days: float
    low: float
    high: float
    probability_rising: float


def values_of(
    followed: Sequence[PreparedSession], *, key: str, day_of: Mapping[str, float], even_brew: EvenBrew, grid: Grid
) -> tuple[Value, ...]:
    """Return each session's value of an attribute on the even brew.

    Parameters
    ----------
    followed : Sequence[PreparedSession]
        Sessions; those that did not rate the attribute say nothing.
    key : str
        Key of the descriptor.
    day_of : Mapping[str, float]
        Day of each session.
    even_brew : EvenBrew
        What the sessions are evened out to.
    grid : Grid
        Where the cups were computed.

    Returns
    -------
    tuple[Value, ...]
        In the order of the sessions. The prior is taken out again, lest it count once per session.
    """
    even = even_brew.cups(grid, infusions=FIRST_INFUSIONS)
    prior_mean, prior_variance = _moments(fit((), grid=grid), even=even)
    sessions = [(session, tasted) for session in followed if (tasted := session.ratings_of(key)) is not None]
    # fit_fade and trend allow for the taster's scale, which the taster's sessions share, and for sessions that differ.
    known = TasterScale(gain_sd=0.0, offset_sd=0.0)
    posteriors = [fit([replace(tasted, scale=known, has_session_effect=False)], grid=grid) for _, tasted in sessions]
    shift_sd, session_sd = (_at_noise_of_all(sd, posteriors) for sd in (unknown_shift_sd, session_shift_sd))
    values = []
    for (session, tasted), posterior in zip(sessions, posteriors, strict=True):
        mean, variance = _moments(posterior, even=even)
        precision = 1 / variance - 1 / prior_variance
        if precision > _LEAST_PRECISION:
            values.append(
                Value(
                    session=session.brew.session,
                    taster=tasted.taster,
                    day=day_of[session.brew.session],
                    mean=(mean / variance - prior_mean / prior_variance) / precision,
                    variance=1 / precision,
                    scale=tasted.scale if is_calibrated(tasted.scale) else replace(tasted.scale, offset_sd=shift_sd),
                    session_sd=session_sd,
                )
            )
    return tuple(values)


def fit_fade(values: Sequence[Value], *, start_mean: float = START_MEAN, start_sd: float = START_SD) -> Fade:
    """Return the posterior of the fading curve; the prior for no values.

    Parameters
    ----------
    values : Sequence[Value]
        One of each session.
    start_mean, start_sd : float, optional
        Roast on the first day before any evidence. [points]

    Notes
    -----
    A taster's gain multiplies the curve, so its error grows with the curve, not with what was rated: with one error for
    all curves, a tea would be too likely to be far under what was rated. How the curve runs over the days of the values
    is taken from a first fit; each curve of the grid multiplies gains by its own mean over these days.
    """
    first = _fit_fade(values, start_mean=start_mean, start_sd=start_sd, shape=np.ones(len(values)))
    if not values:
        return first
    expected = np.array([float(first.at(value.day) @ first.weights) for value in values])
    return _fit_fade(values, start_mean=start_mean, start_sd=start_sd, shape=expected / expected.mean())


def _fit_fade(values: Sequence[Value], *, start_mean: float, start_sd: float, shape: FloatArray) -> Fade:
    """Fit the curve; ``shape`` is how it runs over the days of the values, with a mean of 1."""
    floor, start = (part.ravel() for part in np.meshgrid(FLOOR, START, indexing="ij"))
    floor, start = floor[floor <= start], start[floor <= start]
    log_prior = (
        -0.5 * (np.log(HALF_LIFE_DAYS / HALF_LIFE_MEDIAN_DAYS) / HALF_LIFE_LOG_SD)[:, None] ** 2
        - 0.5 * ((floor - FLOOR_MEAN) / FLOOR_SD) ** 2
        - 0.5 * ((start - start_mean) / start_sd) ** 2
    )
    log_weight = log_prior + noise_log_prior(values)[:, None, None]
    if values:
        log_weight += _log_likelihood(values, floor=floor, start=start, shape=shape)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    node = weight.sum(axis=0).ravel()
    likely = node > _LEAST_WEIGHT * node.max()
    half_life, floors, starts = (
        np.broadcast_to(part, log_prior.shape).ravel()[likely] for part in (HALF_LIFE_DAYS[:, None], floor, start)
    )
    return Fade(
        half_life_days=half_life,
        floor=floors,
        start=starts,
        weights=node[likely] / node[likely].sum(),
        noise_weights=weight.sum(axis=(1, 2)),
    )


def _log_likelihood(values: Sequence[Value], *, floor: FloatArray, start: FloatArray, shape: FloatArray) -> FloatArray:
    """Return the log likelihood of each noise, half-life, and floor with its start, up to a number.

    ``floor`` and ``start`` are float64[n_nodes], the answer is float64[n_noise, n_half_lives, n_nodes]. Given noise,
    half-life and the level by which gains multiply, minus twice it is quadratic in floor and start.
    """
    day, mean = np.array([value.day for value in values]), np.array([value.mean for value in values])
    decay = np.exp2(-day[:, None] / HALF_LIFE_DAYS)
    columns = np.concatenate([1 - decay, decay, mean[:, None]], axis=1)
    remaining = decay.mean(axis=0)[:, None]
    nearest = np.rint(((1 - remaining) * floor + remaining * start) / _LEVEL_STEP).astype(np.intp)
    half_life = np.arange(HALF_LIFE_DAYS.size)[:, None]
    log_likelihood = np.empty((NOISE.size, *nearest.shape))
    for index, noise in enumerate(NOISE):
        without_gains, at_one = (covariance_of(values, noise=float(noise), levels=part) for part in (0 * shape, shape))
        root = np.linalg.cholesky(without_gains + (_LEVELS**2)[:, None, None] * (at_one - without_gains))
        x, y, rated = np.split(np.linalg.solve(root, columns[None]), [decay.shape[1], 2 * decay.shape[1]], axis=2)
        log_determinant = 2 * np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
        square = ((rated * rated).sum(axis=(1, 2)) + log_determinant)[nearest]
        for sums, product in (
            ((x * x).sum(axis=1), floor**2),
            ((y * y).sum(axis=1), start**2),
            ((x * y).sum(axis=1), 2 * floor * start),
            ((x * rated).sum(axis=1), -2 * floor),
            ((y * rated).sum(axis=1), -2 * start),
        ):
            square += sums[nearest, half_life] * product
        log_likelihood[index] = -0.5 * square
    return log_likelihood


def noise_log_prior(values: Sequence[Value]) -> FloatArray:
    """Return the log prior of each of ``NOISE``, up to a number: log-normal around the usual one of the tasters."""
    usual = values[0].session_sd if values else USUAL_SESSION_SD
    return np.asarray(-0.5 * (np.log(NOISE / usual) / _NOISE_FACTOR_SD) ** 2, dtype=np.float64)


def trend(values: Sequence[Value]) -> Trend | None:
    """Return the straight-line trend over the days; slope N(0, 1) per 30 days and level N(6, 3) before any evidence."""
    day = np.array([value.day for value in values])
    if not values or np.ptp(day) < LEAST_SPAN_DAYS:
        return None
    centre = day.mean()
    columns = np.column_stack([np.ones(day.size), (day - centre) / 30.0])
    weighed = np.linalg.solve(covariance_of(values, noise=values[0].session_sd), columns)
    precision = weighed.T @ columns + np.diag([1 / 9, 1.0])
    covariance = np.linalg.inv(precision)
    slope = float((covariance @ (weighed.T @ np.array([value.mean for value in values]) + np.array([6 / 9, 0.0])))[1])
    sd = float(covariance[1, 1] ** 0.5)
    low, high = (slope + sd * float(ndtri(part)) for part in (TAIL, 1 - TAIL))
    return Trend(per_30_days=slope, low=low, high=high, probability_rising=never_certain(float(ndtr(slope / sd))))


def covariance_of(values: Sequence[Value], *, noise: float, levels: FloatArray | None = None) -> FloatArray:
    """Return the covariance of the values: their own, session to session, and each taster's offset and gain.

    ``levels`` are what gains multiply in each value [points]; where None, the mean of the values.
    """
    if levels is None:
        levels = np.full(len(values), max(float(np.mean([value.mean for value in values])), 0.0))
    offset = np.array([value.scale.offset_sd for value in values])
    gained = np.array([value.scale.gain_sd for value in values]) * levels
    own = np.diag([value.variance + noise**2 for value in values])
    return np.asarray(own + _shared_scale(values) * (np.outer(offset, offset) + np.outer(gained, gained)), np.float64)


def _shared_scale(values: Sequence[Value]) -> FloatArray:
    """Return which values share a taster's scale: 1 for the same taster, less what the team's mean takes away.

    The scale is the team's mean, so what tasters not calibrated yet give too much, others of the team give too little
    (:mod:`tastings.maths.curve.scale_effects`). Without that the date's interval held the day in 93 % of simulated
    lots.
    """
    same = np.array([[value.taster == other.taster for other in values] for value in values], dtype=np.float64)
    unknown = np.array([not is_calibrated(value.scale) for value in values])
    counts = Counter(value.taster for value, not_known in zip(values, unknown, strict=True) if not_known)
    if counts:
        same -= np.outer(unknown, unknown) / (len(counts) + expected_absent_tasters(list(counts.values())))
    return same


def _at_noise_of_all(sd_of: Callable[[FloatArray], FloatArray], alone: Sequence[Posterior]) -> float:
    """Return an sd that depends on the noise of ratings, at the noise of all sessions [points]."""
    log_weight = SIGMA_LOG_PRIOR.copy()
    for posterior in alone:
        log_weight += np.log(posterior.weights.sum(axis=1)) - SIGMA_LOG_PRIOR
    weight = np.exp(log_weight - log_weight.max())
    return float(np.sqrt(np.average(sd_of(SIGMA) ** 2, weights=weight)))


def _moments(posterior: Posterior, *, even: FloatArray) -> tuple[float, float]:
    means = posterior.draws(n_draws=N_DRAWS).cups(even).mean(axis=1)
    return float(means.mean()), max(float(means.var()), _LEAST_VARIANCE)
