"""Ratings of 0 and 10 are censored, since the scale ends there.

A censored rating is replaced by its expectation beyond the end, given the session's other ratings and usual noise. This
is iterated three times, a fixed number, so the result is repeatable. Without it, zeros would lift the tail of a fading
curve.
"""

import numpy as np
from scipy.special import log_ndtr

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.extraction import Grid
from tastings.maths.curve.level import (
    LEVEL_MEAN,
    LEVEL_SD,
    USUAL_SIGMA,
    level_estimate,
    level_precision_and_cross,
    shift_share,
)

N_ITERATIONS = 3


def impute_censored(ratings: FloatArray, *, censored: FloatArray, cups: FloatArray, grid: Grid) -> FloatArray:
    """Return a session's ratings with the censored ones replaced by their expectation beyond the end.

    Parameters
    ----------
    ratings, censored : float64[n_ratings]
        As given [points], and -1 at the lower end of the scale, 1 at the upper, 0 between.
    cups : float64[n_nodes, n_ratings]
        Strength h of the rated cups.
    grid : Grid
        Where the cups were computed.

    Returns
    -------
    float64[n_ratings]
        Unchanged where not censored. [points; censored ones may lie beyond 0 to 10]

    Notes
    -----
    The mean of a truncated normal: for an expected cup m and noise s, a rating of 0 becomes m - s phi(z)/Phi(z) with
    z = -m/s, and a 10 likewise upwards. m is the curve of the session's present fit plus its shift.
    """
    imputed = ratings
    if not censored.any():
        return imputed
    for _ in range(N_ITERATIONS):
        level = level_estimate(*level_precision_and_cross(cups, imputed))
        expected = (_node_weights(imputed, cups=cups, level=level, grid=grid) * level) @ cups
        imputed = np.where(
            censored == 0, ratings, _expected_beyond(ratings, censored=censored, present=imputed, expected=expected)
        )
    return imputed


def _node_weights(ratings: FloatArray, *, cups: FloatArray, level: FloatArray, grid: Grid) -> FloatArray:
    """Return node weights at usual noise: one slice of the full posterior, which is enough for the curve."""
    residual = ratings - level[:, None] * cups
    spread = np.einsum("ij,ij->i", residual, residual) - shift_share(ratings.size) * residual.sum(axis=1) ** 2
    log_weight = grid.any_form - 0.5 * ((level - LEVEL_MEAN) / LEVEL_SD) ** 2 - 0.5 * spread / USUAL_SIGMA**2
    weights = np.exp(log_weight - log_weight.max())
    return np.asarray(weights / weights.sum(), dtype=np.float64)


def _expected_beyond(
    ratings: FloatArray, *, censored: FloatArray, present: FloatArray, expected: FloatArray
) -> FloatArray:
    centre = expected + float((present - expected).sum()) * shift_share(ratings.size)
    # The upper end is mirrored, so that both are truncations from above.
    z = np.where(censored == 0, 0.0, (ratings - centre) * -censored / USUAL_SIGMA)
    inverse_mills = np.exp(-0.5 * z * z - log_ndtr(z)) / np.sqrt(2 * np.pi)
    return np.asarray(centre + censored * USUAL_SIGMA * inverse_mills, dtype=np.float64)
