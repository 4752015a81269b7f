"""What lots of a blind flight are worth, drawn from the posterior given its cups.

A score is modelled as::

    sitting + gain x (lot + carry-over x previous lot) + position + first cup + taste for the lot + noise

Lots are drawn around a common level, a taster's sittings around the taster's shift, gains around 1. A taster's own
taste for a lot can be told from noise only by a second cup of it. Noise differs between tasters. Carry-over is the
share of the previous lot's difference from the common level that is still tasted, below 0 where a good cup makes the
next one look worse. Spreads are unknown and are drawn too, so that intervals of lots allow for not knowing them.

The draws are a Gibbs sampler's (Gelman and others, Bayesian Data Analysis, 3rd ed., chapters 11 and 15, from memory,
high), many short chains side by side: lots, sittings, position and level together; each spread on a grid; the spread
of lots a second time with the lots in units of it (Yu and Meng 2011, J. Comput. Graph. Stat. 20:531-570, from memory,
high), without which few cups would make the chains slow.
"""

from dataclasses import dataclass, fields

import numpy as np
from numpy.random import Generator

from tastings.maths.arrays import FloatArray
from tastings.maths.flights.cups import ServedCups
from tastings.maths.flights.gibbs.design import Design
from tastings.maths.flights.gibbs.effects import draw_effects
from tastings.maths.flights.gibbs.gain import draw_gain_and_carry_over
from tastings.maths.flights.gibbs.noise import draw_noise_and_taste
from tastings.maths.flights.gibbs.spreads import draw_lot_sd, draw_shift_and_sitting_sd
from tastings.maths.flights.gibbs.state import State

N_WARM_UP, N_SAVED = 50, 150
"""Sweeps of every chain: first those that are thrown away."""


@dataclass(frozen=True, slots=True)
class Draws:
    """Draws from the posterior, one row for each."""

    # float64[n_draws]: what the team gives a lot of the common level at the middle of a sitting [points]
    level: FloatArray
    lot: FloatArray  # float64[n_draws, n_lots]: lots' differences from the common level [points]
    shift: FloatArray  # float64[n_draws, n_tasters]: what a taster's sittings lie above the team [points]
    gain: FloatArray  # float64[n_draws, n_tasters]
    carry_over: FloatArray  # float64[n_draws]: share of the previous lot still tasted
    # position, first_cup, float64[n_draws]: change from cup to cup, and of the first cup beside that [points]
    position: FloatArray
    first_cup: FloatArray
    # lot_sd to noise_sd, float64[n_draws]: spreads [points; of gains, none]; noise of a usual taster
    lot_sd: FloatArray
    shift_sd: FloatArray
    sitting_sd: FloatArray
    gain_sd: FloatArray
    taste_sd: FloatArray
    noise_sd: FloatArray
    taster_noise_sd: FloatArray  # float64[n_draws, n_tasters]: each taster's noise [points]

    @classmethod
    def of(cls, design: Design, state: State, *, scale: float) -> "Draws":
        """Return one draw of every chain, in points."""
        by_taster = state.sitting @ design.z_sitting_taster / design.z_sitting_taster.sum(axis=0)
        team = by_taster.mean(axis=1)
        return cls(
            level=scale * (design.mean_score + team),
            lot=scale * state.lot,
            shift=scale * (by_taster - team[:, None]),
            gain=state.gain,
            carry_over=state.carry_over,
            position=scale * state.slope[:, 0],
            first_cup=scale * state.slope[:, 1],
            lot_sd=scale * state.lot_sd,
            shift_sd=scale * state.shift_sd,
            sitting_sd=scale * state.sitting_sd,
            gain_sd=state.gain_sd,
            taste_sd=scale * state.taste_sd,
            noise_sd=scale * state.noise_sd,
            taster_noise_sd=scale * state.noise_sd[:, None] * np.sqrt(state.noise_factor),
        )

    def worth(self) -> FloatArray:
        """Return what the team would give each lot, float64[n_draws, n_lots]. [points]."""
        return np.asarray(self.level[:, None] + self.gain.mean(axis=1)[:, None] * self.lot, dtype=np.float64)


def draw(cups: ServedCups, *, scale: float, rng: Generator) -> Draws:
    """Draw from the posterior given the cups; at least one is needed."""
    design = Design.of(cups, scale=scale)
    state = State.start(design, rng)
    saved = []
    for number in range(N_WARM_UP + N_SAVED):
        sweep(design, state, rng)
        if number >= N_WARM_UP:
            saved.append(Draws.of(design, state, scale=scale))
    return Draws(**{f.name: np.concatenate([getattr(draws, f.name) for draws in saved]) for f in fields(Draws)})


def sweep(design: Design, state: State, rng: Generator) -> None:
    """Draw every unknown once, each block given the others."""
    draw_effects(design, state, rng)
    draw_shift_and_sitting_sd(design, state, rng)
    draw_lot_sd(design, state, rng)
    draw_gain_and_carry_over(design, state, rng)
    draw_noise_and_taste(design, state, rng)
