"""The block of gains, their spread, and carry-over."""

import numpy as np
from numpy.random import Generator

from tastings.maths.flights.gibbs.design import Design
from tastings.maths.flights.gibbs.priors import CARRY_OVER_SD, GAIN_SD, GAIN_SD_GRID, LEAST_GAIN, MOST_GAIN
from tastings.maths.flights.gibbs.spreads import draw_from_grid
from tastings.maths.flights.gibbs.state import N_CHAINS, State


def draw_gain_and_carry_over(design: Design, state: State, rng: Generator) -> None:
    """Draw each taster's gain, the spread of gains around 1, and carry-over: regressions on what lots contribute."""
    weight = state.group_weight(design)[:, design.group]
    residual = state.residual_with_lots(design)
    lot, previous = state.lot @ design.z_lot.T, state.lot @ design.z_previous.T

    signal = lot + state.carry_over[:, None] * previous
    precision = (weight * signal**2) @ design.z_taster + state.gain_sd[:, None] ** -2
    mean = ((weight * signal * residual) @ design.z_taster + state.gain_sd[:, None] ** -2) / precision
    drawn = mean + rng.standard_normal(mean.shape) / np.sqrt(precision)
    state.gain = np.clip(drawn, LEAST_GAIN, MOST_GAIN)
    _draw_gain_sd(design, state, rng)

    gain = state.gain[:, design.taster]
    precision = (weight * (gain * previous) ** 2).sum(axis=1) + CARRY_OVER_SD**-2
    mean = (weight * gain * previous * (residual - gain * lot)).sum(axis=1) / precision
    state.carry_over = mean + rng.standard_normal(N_CHAINS) / np.sqrt(precision)


def _draw_gain_sd(design: Design, state: State, rng: Generator) -> None:
    squares = ((state.gain - 1) ** 2).sum(axis=1)[:, None]
    log_likelihood = -(design.n_tasters - 1) * np.log(GAIN_SD_GRID) - 0.5 * squares / GAIN_SD_GRID**2
    state.gain_sd = 2.5 * draw_from_grid(log_likelihood - 0.5 * (GAIN_SD_GRID / GAIN_SD) ** 2, rng)
