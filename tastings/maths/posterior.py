"""What the ratings of one attribute say about its strength in the cup: a posterior on a grid, without a sampler.

A rating of infusion j in session s is ``y = offset + gain (a + a d_s) h_j + u_s + e`` with the session's own gain d_s
~ N(0, 0.15^2), its shift u_s ~ N(0, 0.5^2) and noise e ~ N(0, sigma^2). Given k, tau, n (inside h) and sigma,
everything left is normal:

* u_s integrates out as a constant column (Woodbury), d_s as a column along h whose length uses a first estimate of
  ``a`` made at each node without d_s;
* what remains of a session is a quadratic in ``a`` with two coefficients and a constant. These add up over sessions
  (:class:`Sums`), so a new session adds to what is there.

The posterior is node weights times a normal in ``a``: deterministic, no convergence to watch.

The scale ends at 0 and at 10, so a rating there only says "this or beyond". Such a rating is replaced by its
expectation beyond the end given the present fit and usual noise, three times over (a fixed number, so the answer is
repeatable).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr, ndtri

from tastings.maths.brewing import FloatArray
from tastings.maths.brews import HIGHEST, LOWEST
from tastings.maths.extraction import Grid

SESSION_GAIN_SD = 0.15
SESSION_SHIFT_SD = 0.5
LEVEL_MEAN = 6.0
LEVEL_SD = 4.0
USUAL_SIGMA = 0.75
CENSOR_SWEEPS = 3
N_DRAWS = 1024

SIGMA = np.geomspace(0.4, 1.4, 7)
_SIGMA_LOG_PRIOR = -0.5 * ((np.log(SIGMA) - np.log(USUAL_SIGMA)) / 0.35) ** 2
_SIGMA_LOG_PRIOR -= np.log(np.exp(_SIGMA_LOG_PRIOR).sum())
_SIGMA_LOG_PRIOR.setflags(write=False)


@dataclass(frozen=True, slots=True)
class Tasted:
    """The ratings of one attribute in one session.

    Parameters
    ----------
    cups : float64[n_nodes, n_ratings]
        Strength h of the rated cups, times the taster's gain.
    ratings : float64[n_ratings]
        Ratings less the taster's offset. [points]
    ends : float64[n_ratings]
        -1 for a rating at the lower end of the scale, 1 at the upper, 0 between.
    """

    cups: FloatArray
    ratings: FloatArray
    ends: FloatArray


@dataclass(frozen=True, slots=True)
class Sums:
    """What sessions add up to: minus twice the log likelihood is ``constant - 2 cross a + precision a^2``.

    Each is float64[n_sigma, n_nodes].
    """

    precision: FloatArray
    cross: FloatArray
    constant: FloatArray

    def __add__(self, other: "Sums") -> "Sums":
        return Sums(
            precision=self.precision + other.precision,
            cross=self.cross + other.cross,
            constant=self.constant + other.constant,
        )


@dataclass(frozen=True, slots=True)
class Posterior:
    """Node weights times a normal in the level ``a``.

    Parameters
    ----------
    weights, mean, sd : float64[n_sigma, n_nodes]
        Weight of each node (they sum to 1) and the normal of ``a`` there. [points]
    """

    weights: FloatArray
    mean: FloatArray
    sd: FloatArray

    @property
    def node_weights(self) -> FloatArray:
        """Return the weight of each node of k, tau, n, whatever sigma is."""
        return np.asarray(self.weights.sum(axis=0), dtype=np.float64)

    @property
    def sigma(self) -> float:
        """Return the mean noise of one rating [points]."""
        return float(SIGMA @ self.weights.sum(axis=1))

    def mean_of(self, cups: FloatArray) -> FloatArray:
        """Return the posterior mean of ``a h``, for cups given as float64[n_nodes, n] [points]."""
        return np.asarray((self.weights * self.mean).sum(axis=0) @ cups, dtype=np.float64)

    def draws(self, *, n_draws: int = N_DRAWS) -> "Draws":
        """Return draws spread evenly over the posterior; the same posterior gives the same draws.

        Notes
        -----
        A rank-one lattice: evenly spaced steps along the cumulative node weights, each paired with a normal quantile
        that moves on by the golden ratio.
        """
        step = np.arange(n_draws)
        ladder = np.cumsum(self.weights, axis=None)
        index = np.searchsorted(ladder, (step + 0.5) / n_draws * ladder[-1])
        index = np.minimum(index, ladder.size - 1)
        quantile = (0.5 + step * 0.6180339887498949) % 1.0
        level = self.mean.ravel()[index] + self.sd.ravel()[index] * ndtri(np.clip(quantile, 1e-6, 1 - 1e-6))
        return Draws(node=index % self.mean.shape[1], level=np.maximum(level, 0.0))


@dataclass(frozen=True, slots=True)
class Draws:
    """Equally likely draws: a node of the grid and a level ``a``, never below 0 [points]."""

    node: np.ndarray[tuple[int, ...], np.dtype[np.intp]]
    level: FloatArray

    def cups(self, cups: FloatArray) -> FloatArray:
        """Return float64[n_draws, n]: ``a h`` of each draw, held to the scale [points, 0 to 10]."""
        return np.clip(self.level[:, None] * cups[self.node], LOWEST, HIGHEST)


def fit(tasted: Sequence[Tasted], *, grid: Grid) -> Posterior:
    """Return the posterior of one attribute.

    Parameters
    ----------
    tasted : Sequence[Tasted]
        One entry per session; none gives the prior.
    grid : Grid
        The nodes on which the cups were computed.

    Returns
    -------
    Posterior
        Over the nodes of ``grid`` times seven values of sigma.
    """
    settled = within_scale(tasted, grid=grid)
    level = level_at_nodes(settled, n_nodes=grid.n_nodes)
    return posterior_of(summed(settled, level=level, n_nodes=grid.n_nodes), grid=grid)


def posterior_of(sums: Sums, *, grid: Grid) -> Posterior:
    """Return the posterior that the prior and the sums of some sessions make."""
    precision = sums.precision + LEVEL_SD**-2
    mean = (sums.cross + LEVEL_MEAN / LEVEL_SD**2) / precision
    log_weight = 0.5 * (precision * mean * mean - np.log(precision) - sums.constant)
    log_weight += grid.log_prior + _SIGMA_LOG_PRIOR[:, None]
    log_weight -= log_weight.max()
    weights = np.exp(log_weight)
    weights /= weights.sum()
    return Posterior(weights=weights, mean=mean, sd=precision**-0.5)


def summed(tasted: Iterable[Tasted], *, level: FloatArray, n_nodes: int) -> Sums:
    """Add up sessions.

    Parameters
    ----------
    tasted : Iterable[Tasted]
        Ratings, none at an end of the scale (see :func:`within_scale`).
    level : float64[n_nodes]
        The first estimate of ``a`` that scales the session's own gain. [points]
    n_nodes : int
        Nodes of the grid.

    Returns
    -------
    Sums
        Zero for no sessions.
    """
    shape = (SIGMA.size, n_nodes)
    total = Sums(precision=np.zeros(shape), cross=np.zeros(shape), constant=np.zeros(shape))
    gain_variance = (SESSION_GAIN_SD * level) ** 2
    variance = (SIGMA * SIGMA)[:, None]
    precision, cross, work = np.empty(shape), np.empty(shape), np.empty(shape)
    for one in tasted:
        ratings = one.ratings
        n = ratings.size
        shrink = 1 / (SIGMA * SIGMA / SESSION_SHIFT_SD**2 + n)  # how much of the session's mean the shift u takes
        cup_sum, cup_square, cup_rating = _moments(one)
        sum_rating = float(ratings.sum())
        # u integrated out: x' V^-1 y = (x.y - shrink sum(x) sum(y)) / sigma^2
        np.multiply(-shrink[:, None], cup_sum * cup_sum, out=precision)
        precision += cup_square
        precision /= variance
        np.multiply(-shrink[:, None], cup_sum * sum_rating, out=cross)
        cross += cup_rating
        cross /= variance
        # d integrated out: a rank-one update along h of variance gain_variance
        np.multiply(precision, gain_variance, out=work)
        work += 1.0
        precision /= work
        np.add(total.precision, precision, out=total.precision)
        np.log(work, out=precision)
        np.add(total.constant, precision, out=total.constant)
        np.divide(cross, work, out=work)
        np.add(total.cross, work, out=total.cross)
        work *= cross
        work *= gain_variance
        np.subtract(total.constant, work, out=total.constant)
        squares = (float(ratings @ ratings) - shrink * sum_rating**2) / (SIGMA * SIGMA)
        volume = 2 * n * np.log(SIGMA) + np.log1p(n * SESSION_SHIFT_SD**2 / (SIGMA * SIGMA))
        np.add(total.constant, (squares + volume)[:, None], out=total.constant)
    return total


def level_at_nodes(tasted: Sequence[Tasted], *, n_nodes: int) -> FloatArray:
    """Return a first estimate of ``a`` at each node: usual noise, no gain of the session's own [points, 0.2 to 20]."""
    precision = np.full(n_nodes, LEVEL_SD**-2)
    cross = np.full(n_nodes, LEVEL_MEAN / LEVEL_SD**2)
    for one in tasted:
        shrink = 1 / (USUAL_SIGMA**2 / SESSION_SHIFT_SD**2 + one.ratings.size)
        cup_sum, cup_square, cup_rating = _moments(one)
        precision += (cup_square - shrink * cup_sum * cup_sum) / USUAL_SIGMA**2
        cross += (cup_rating - shrink * cup_sum * one.ratings.sum()) / USUAL_SIGMA**2
    return np.asarray(np.clip(cross / precision, 0.2, 20.0), dtype=np.float64)


def within_scale(tasted: Sequence[Tasted], *, grid: Grid) -> tuple[Tasted, ...]:
    """Return the ratings with those at an end of the scale replaced by their expectation beyond it.

    Notes
    -----
    For a cup expected at m and noise s, a rating of 0 stands for m - s phi(z)/Phi(z) with z = -m/s, and a 10 likewise
    upwards. m is the curve of the present fit plus the session's shift.
    """
    settled = tuple(tasted)
    if not any(one.ends.any() for one in tasted):
        return settled
    for _ in range(CENSOR_SWEEPS):
        level = level_at_nodes(settled, n_nodes=grid.n_nodes)
        weights = _usual_weights(settled, level=level, grid=grid) * level
        settled = tuple(
            _beyond(first, ratings=present.ratings, expected=weights @ first.cups) if first.ends.any() else first
            for first, present in zip(tasted, settled, strict=True)
        )
    return settled


def _usual_weights(tasted: Sequence[Tasted], *, level: FloatArray, grid: Grid) -> FloatArray:
    """Return node weights at usual noise: one slice of the full posterior, good enough to say where a curve runs."""
    log_weight = grid.log_prior - 0.5 * ((level - LEVEL_MEAN) / LEVEL_SD) ** 2
    for one in tasted:
        residual = one.ratings - level[:, None] * one.cups
        shrink = 1 / (USUAL_SIGMA**2 / SESSION_SHIFT_SD**2 + one.ratings.size)
        spread = np.einsum("ij,ij->i", residual, residual) - shrink * residual.sum(axis=1) ** 2
        log_weight = log_weight - 0.5 * spread / USUAL_SIGMA**2
    weights = np.exp(log_weight - log_weight.max())
    return np.asarray(weights / weights.sum(), dtype=np.float64)


def _beyond(first: Tasted, *, ratings: FloatArray, expected: FloatArray) -> Tasted:
    shift = float((ratings - expected).sum()) / (USUAL_SIGMA**2 / SESSION_SHIFT_SD**2 + ratings.size)
    # Mirrored for the upper end, both ends read "at or below".
    distance = (first.ratings - expected - shift) * -first.ends
    z = np.where(first.ends == 0, 0.0, distance / USUAL_SIGMA)
    hazard = np.exp(-0.5 * z * z - log_ndtr(z)) / np.sqrt(2 * np.pi)
    beyond = expected + shift + first.ends * USUAL_SIGMA * hazard
    return Tasted(cups=first.cups, ratings=np.where(first.ends == 0, first.ratings, beyond), ends=first.ends)


def _moments(one: Tasted) -> tuple[FloatArray, FloatArray, FloatArray]:
    return one.cups.sum(axis=1), np.einsum("ij,ij->i", one.cups, one.cups), one.cups @ one.ratings
