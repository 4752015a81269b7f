"""A first estimate of the level ``a`` of an attribute, without gains.

The level is the rating of a cup of strength h = 1. The estimate assumes usual noise and usual shifts. It scales the
column of a gain, and predicts where a censored rating would have been.
"""

import numpy as np

from tastings.maths.arrays import FloatArray

LEVEL_MEAN = 6.0
LEVEL_SD = 4.0
USUAL_SHIFT_SD = 0.55  # taster and session together
USUAL_SIGMA = 0.75
LOWEST_LEVEL, HIGHEST_LEVEL = 0.2, 20.0


def shift_share(n_ratings: int) -> float:
    """Return the share of a sum of so many ratings that a usual shift explains."""
    return 1 / (USUAL_SIGMA**2 / USUAL_SHIFT_SD**2 + n_ratings)


def level_precision_and_cross(cups: FloatArray, ratings: FloatArray) -> FloatArray:
    """Return a session's precision of the level, and precision times level.

    Parameters
    ----------
    cups : float64[n_nodes, n_ratings]
        Strength h of the rated cups.
    ratings : float64[n_ratings]
        The ratings. [points]

    Returns
    -------
    float64[2, n_nodes]
        Both rows are summed over sessions.
    """
    shrink = shift_share(ratings.size)
    cup_sum = cups.sum(axis=1)
    precision = np.einsum("ij,ij->i", cups, cups) - shrink * cup_sum * cup_sum
    cross = cups @ ratings - shrink * cup_sum * ratings.sum()
    return np.asarray(np.stack([precision, cross]) / USUAL_SIGMA**2, dtype=np.float64)


def level_estimate(precision: FloatArray, cross: FloatArray) -> FloatArray:
    """Return the posterior mean of the level under the prior N(6, 4), clipped to 0.2 ... 20 [points]."""
    level = (cross + LEVEL_MEAN / LEVEL_SD**2) / (precision + LEVEL_SD**-2)
    return np.asarray(np.clip(level, LOWEST_LEVEL, HIGHEST_LEVEL), dtype=np.float64)
