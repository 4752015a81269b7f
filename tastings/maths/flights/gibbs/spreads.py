"""The blocks of standard deviations between tasters, sittings and lots, each drawn on a grid."""

import numpy as np
from numpy.random import Generator

from tastings.maths.arrays import FloatArray
from tastings.maths.flights.gibbs.design import Design
from tastings.maths.flights.gibbs.priors import LOT_SD_LOG_PRIOR, SD_GRID, SHIFT_SD, SITTING_SD, half_normal_log_prior
from tastings.maths.flights.gibbs.state import N_CHAINS, State


def draw_shift_and_sitting_sd(design: Design, state: State, rng: Generator) -> None:
    """Draw tasters' shifts given their sittings, then the spreads of shifts and of sittings around them."""
    n_sittings_of, above = design.z_sitting_taster.sum(axis=0), state.sitting - state.mean[:, None]
    sitting_variance = state.sitting_sd[:, None] ** 2
    precision = n_sittings_of / sitting_variance + state.shift_sd[:, None] ** -2
    mean = above @ design.z_sitting_taster / sitting_variance / precision
    shift = mean + rng.standard_normal(mean.shape) / np.sqrt(precision)
    state.shift_sd = _draw_sd((shift**2).sum(axis=1), n=design.n_tasters, usual=SHIFT_SD, rng=rng)
    residual = above - shift[:, design.sitting_taster]
    state.sitting_sd = _draw_sd((residual**2).sum(axis=1), n=design.n_sittings, usual=SITTING_SD, rng=rng)


def draw_lot_sd(design: Design, state: State, rng: Generator) -> None:
    """Draw the spread of lots given the lots, and once more given the lots in units of it (Yu and Meng 2011)."""
    squares = (state.lot**2).sum(axis=1)[:, None]
    log_density = LOT_SD_LOG_PRIOR - design.n_lots * np.log(SD_GRID) - 0.5 * squares / SD_GRID**2
    state.lot_sd = draw_from_grid(log_density, rng)

    weight = state.group_weight(design)[:, design.group]
    in_units = state.lot / state.lot_sd[:, None]
    signal = state.gain[:, design.taster] * state.lot_signal(design, in_units)
    precision = (weight * signal**2).sum(axis=1)[:, None]
    rhs = (weight * signal * state.residual_with_lots(design)).sum(axis=1)[:, None]
    state.lot_sd = draw_from_grid(SD_GRID * rhs - 0.5 * SD_GRID**2 * precision + LOT_SD_LOG_PRIOR, rng)
    state.lot = in_units * state.lot_sd[:, None]


def draw_from_grid(log_density: FloatArray, rng: Generator) -> FloatArray:
    """Draw a point of the grid for each chain; ``log_density`` is float64[n_chains, n_grid], up to a constant."""
    cumulated = np.cumsum(np.exp(log_density - log_density.max(axis=1, keepdims=True)), axis=1)
    index = (cumulated < rng.random((N_CHAINS, 1)) * cumulated[:, -1:]).sum(axis=1)
    return np.asarray(SD_GRID[np.minimum(index, SD_GRID.size - 1)], dtype=np.float64)


def _draw_sd(squares: FloatArray, *, n: int, usual: float, rng: Generator) -> FloatArray:
    """Draw the standard deviation of n normal effects around 0 with this sum of squares."""
    log_likelihood = -n * np.log(SD_GRID) - 0.5 * squares[:, None] / SD_GRID**2
    return draw_from_grid(log_likelihood + half_normal_log_prior(usual), rng)
