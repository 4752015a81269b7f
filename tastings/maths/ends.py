"""The scale ends at 0 and at 10, so a rating there only says "this or beyond".

Such a rating is replaced by its expectation beyond the end, given the present fit and usual noise, three times over: a
fixed number, so the answer is repeatable. Left as they stand, zeros would hold up the tail of a fading curve.
"""

from collections.abc import Sequence

import numpy as np
from scipy.special import log_ndtr

from tastings.maths.brewing import FloatArray
from tastings.maths.extraction import Grid
from tastings.maths.sums import (
    LEVEL_MEAN,
    LEVEL_SD,
    USUAL_SHIFT_SD,
    USUAL_SIGMA,
    Tasted,
    level_at_nodes,
)

SWEEPS = 3


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
    for _ in range(SWEEPS):
        level = level_at_nodes(settled, n_nodes=grid.n_nodes)
        node_level = _usual_weights(settled, level=level, grid=grid) * level
        settled = tuple(
            _beyond(first, present=present.ratings, expected=node_level @ first.cups) if first.ends.any() else first
            for first, present in zip(tasted, settled, strict=True)
        )
    return settled


def _usual_weights(tasted: Sequence[Tasted], *, level: FloatArray, grid: Grid) -> FloatArray:
    """Return node weights at usual noise: one slice of the full posterior, enough to say where a curve runs."""
    log_weight = grid.log_prior - 0.5 * ((level - LEVEL_MEAN) / LEVEL_SD) ** 2
    for one in tasted:
        residual = one.ratings - level[:, None] * one.cups
        shrink = 1 / (USUAL_SIGMA**2 / USUAL_SHIFT_SD**2 + one.ratings.size)
        spread = np.einsum("ij,ij->i", residual, residual) - shrink * residual.sum(axis=1) ** 2
        log_weight = log_weight - 0.5 * spread / USUAL_SIGMA**2
    weights = np.exp(log_weight - log_weight.max())
    return np.asarray(weights / weights.sum(), dtype=np.float64)


def _beyond(first: Tasted, *, present: FloatArray, expected: FloatArray) -> Tasted:
    shift = float((present - expected).sum()) / (USUAL_SIGMA**2 / USUAL_SHIFT_SD**2 + present.size)
    # Mirrored for the upper end, both ends read "at or below".
    distance = (first.ratings - expected - shift) * -first.ends
    z = np.where(first.ends == 0, 0.0, distance / USUAL_SIGMA)
    hazard = np.exp(-0.5 * z * z - log_ndtr(z)) / np.sqrt(2 * np.pi)
    beyond = expected + shift + first.ends * USUAL_SIGMA * hazard
    return Tasted(
        taster=first.taster,
        scale=first.scale,
        cups=first.cups,
        ratings=np.where(first.ends == 0, first.ratings, beyond),
        ends=first.ends,
    )
