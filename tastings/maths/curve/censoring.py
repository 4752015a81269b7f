"""The scale ends at 0 and at 10, so a rating there only says "this or beyond".

Such a rating is replaced by its expectation beyond the end, given the session's other ratings and usual noise, three
times over: a fixed number, so the answer is repeatable. Left as they stand, zeros would hold up the tail of a fading
curve.
"""

import numpy as np
from scipy.special import log_ndtr

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.extraction import Grid
from tastings.maths.curve.level import LEVEL_MEAN, LEVEL_SD, USUAL_SIGMA, level_of, level_parts, shift_share

SWEEPS = 3


def within_scale(ratings: FloatArray, *, ends: FloatArray, cups: FloatArray, grid: Grid) -> FloatArray:
    """Return a session's ratings with those at an end of the scale replaced by their expectation beyond it.

    Parameters
    ----------
    ratings, ends : float64[n_ratings]
        As given [points], and -1 at the lower end of the scale, 1 at the upper, 0 between.
    cups : float64[n_nodes, n_ratings]
        Strength h of the rated cups.
    grid : Grid
        Where the cups were computed.

    Returns
    -------
    float64[n_ratings]
        The ratings themselves where they are not at an end. [points, beyond 0 to 10 where they are]

    Notes
    -----
    For a cup expected at m and noise s, a rating of 0 stands for m - s phi(z)/Phi(z) with z = -m/s, and a 10 likewise
    upwards. m is the curve of the session's present fit plus its shift.
    """
    settled = ratings
    if not ends.any():
        return settled
    for _ in range(SWEEPS):
        level = level_of(*level_parts(cups, settled))
        expected = (_usual_weights(settled, cups=cups, level=level, grid=grid) * level) @ cups
        settled = np.where(ends == 0, ratings, _beyond(ratings, ends=ends, present=settled, expected=expected))
    return settled


def _usual_weights(ratings: FloatArray, *, cups: FloatArray, level: FloatArray, grid: Grid) -> FloatArray:
    """Return node weights at usual noise: one slice of the full posterior, enough to say where a curve runs."""
    residual = ratings - level[:, None] * cups
    spread = np.einsum("ij,ij->i", residual, residual) - shift_share(ratings.size) * residual.sum(axis=1) ** 2
    log_weight = grid.log_prior - 0.5 * ((level - LEVEL_MEAN) / LEVEL_SD) ** 2 - 0.5 * spread / USUAL_SIGMA**2
    weights = np.exp(log_weight - log_weight.max())
    return np.asarray(weights / weights.sum(), dtype=np.float64)


def _beyond(ratings: FloatArray, *, ends: FloatArray, present: FloatArray, expected: FloatArray) -> FloatArray:
    centre = expected + float((present - expected).sum()) * shift_share(ratings.size)
    # Mirrored for the upper end, both ends read "at or below".
    z = np.where(ends == 0, 0.0, (ratings - centre) * -ends / USUAL_SIGMA)
    hazard = np.exp(-0.5 * z * z - log_ndtr(z)) / np.sqrt(2 * np.pi)
    return np.asarray(centre + ends * USUAL_SIGMA * hazard, dtype=np.float64)
