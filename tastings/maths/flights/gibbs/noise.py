"""The block of noise: its standard deviation, that of tastes, how much noise each taster has, and the tastes."""

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from tastings.maths.arrays import FloatArray
from tastings.maths.flights.gibbs.design import Design
from tastings.maths.flights.gibbs.priors import (
    NOISE_DEGREES_OF_FREEDOM,
    NOISE_SD_LOG_PRIOR,
    SD_GRID,
    TASTE_SD,
    half_normal_log_prior,
)
from tastings.maths.flights.gibbs.repeats import one_hot
from tastings.maths.flights.gibbs.spreads import draw_from_grid
from tastings.maths.flights.gibbs.state import N_CHAINS, State


def draw_noise_and_taste(design: Design, state: State, rng: Generator) -> None:
    """Draw ``noise_sd`` and ``taste_sd`` with tastes summed out, then each taster's noise, then the tastes."""
    squares = _Squares.of(design, state)
    scaled = squares.sums_of_squares(design, state)
    state.noise_sd = draw_from_grid(
        scaled.log_likelihood(noise=SD_GRID**2, taste=state.taste_sd[:, None] ** 2) + NOISE_SD_LOG_PRIOR, rng
    )
    state.taste_sd = draw_from_grid(
        scaled.log_likelihood(noise=state.noise_sd[:, None] ** 2, taste=SD_GRID**2) + half_normal_log_prior(TASTE_SD),
        rng,
    )
    _draw_noise_factor(design, state, squares, rng)
    if design.repeats.n:
        _draw_taste(design, state, squares, rng)


@dataclass(frozen=True, slots=True)
class _SumsOfSquares:
    """Sums of squares of the residuals over each taster's noise factor, all that noise and taste are drawn from.

    ``single`` is of cups of lots had once, ``within`` of the others around their pair's mean, float64[n_chains, 1].
    ``between`` has one of the pairs' means for every number of cups k: (k, sum of squares, number of pairs).
    """

    single: FloatArray
    n_single: int
    within: FloatArray
    n_within: int
    between: tuple[tuple[int, FloatArray, int], ...]

    def log_likelihood(self, *, noise: FloatArray, taste: FloatArray) -> FloatArray:
        """Return the log likelihood of the variances of noise and of tastes, up to a constant."""
        total = -0.5 * (self.n_single * np.log(noise + taste) + self.single / (noise + taste))
        total = total - 0.5 * (self.n_within * np.log(noise) + self.within / noise)
        for k, squares, n in self.between:
            total = total - 0.5 * (n * np.log(noise + k * taste) + squares / (noise + k * taste))
        return np.asarray(total, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class _Squares:
    """Squared residuals of the cups and means of the repeated pairs.

    ``own`` and ``within`` are float64[n_chains, n_cups]: of each cup itself, and around the mean of its pair (the same
    for a single cup). ``means`` is float64[n_chains, n_repeats].
    """

    own: FloatArray
    within: FloatArray
    means: FloatArray

    @classmethod
    def of(cls, design: Design, state: State) -> "_Squares":
        repeats, residual = design.repeats, state.residual_with_taste(design)
        means = residual @ repeats.z / repeats.count if repeats.n else np.zeros((N_CHAINS, 0))
        return cls(own=residual**2, within=(residual - means @ repeats.z.T) ** 2, means=means)

    def sums_of_squares(self, design: Design, state: State) -> _SumsOfSquares:
        """Sum over cups and pairs, over each taster's noise factor."""
        repeats, factor = design.repeats, state.noise_factor[:, design.taster]
        single, n_single = repeats.is_single, int(repeats.is_single.sum())
        between = repeats.count * self.means**2 / state.noise_factor[:, repeats.taster]
        return _SumsOfSquares(
            single=((self.own / factor)[:, single]).sum(axis=1)[:, None],
            n_single=n_single,
            within=(self.within / factor)[:, ~single].sum(axis=1)[:, None],
            n_within=design.y.size - n_single - repeats.n,
            between=tuple(
                (int(k), between[:, repeats.count == k].sum(axis=1)[:, None], int((repeats.count == k).sum()))
                for k in repeats.counts
            ),
        )


def _draw_noise_factor(design: Design, state: State, squares: _Squares, rng: Generator) -> None:
    """Draw how much noisier than usual each taster is: scaled inverse chi-squared."""
    repeats = design.repeats
    noise, taste = state.noise_sd[:, None] ** 2, state.taste_sd[:, None] ** 2
    total = (squares.own * repeats.is_single) @ design.z_taster / (noise + taste)
    total = total + (squares.within * ~repeats.is_single) @ design.z_taster / noise
    if repeats.n:
        between = repeats.count * squares.means**2 / (noise + repeats.count * taste)
        total = total + between @ one_hot(repeats.taster, design.n_tasters)
    shape = (NOISE_DEGREES_OF_FREEDOM + design.z_taster.sum(axis=0)) / 2
    state.noise_factor = (NOISE_DEGREES_OF_FREEDOM + total) / 2 / rng.standard_gamma(shape, size=total.shape)


def _draw_taste(design: Design, state: State, squares: _Squares, rng: Generator) -> None:
    """Draw each taster's taste for the lots that the taster had more than once."""
    repeats = design.repeats
    noise, taste = state.noise_sd[:, None] ** 2, state.taste_sd[:, None] ** 2
    factor = state.noise_factor[:, repeats.taster]
    precision = (repeats.count / noise + 1 / taste) / factor
    mean = repeats.count * squares.means / noise / factor / precision
    state.taste = mean + rng.standard_normal(mean.shape) / np.sqrt(precision)
