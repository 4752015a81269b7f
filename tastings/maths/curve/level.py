"""The level ``a`` of an attribute, as far as it can be told before gains are known.

A level is how strong a cup of strength h = 1 tastes. The first estimate here knows usual noise and usual shifts only;
it gives the column of a gain its length, and tells where a rating at an end of the scale would have been.
"""

import numpy as np

from tastings.maths.arrays import FloatArray

LEVEL_MEAN = 6.0
LEVEL_SD = 4.0
USUAL_SHIFT_SD = 0.55  # taster and session together
USUAL_SIGMA = 0.75
LOWEST_LEVEL, HIGHEST_LEVEL = 0.2, 20.0


def shift_share(n_ratings: int) -> float:
    """Return the share of a sum of so many ratings that a usual shift takes."""
    return 1 / (USUAL_SIGMA**2 / USUAL_SHIFT_SD**2 + n_ratings)


def level_parts(cups: FloatArray, ratings: FloatArray) -> FloatArray:
    """Return what a session says of the level.

    Parameters
    ----------
    cups : float64[n_nodes, n_ratings]
        Strength h of the rated cups.
    ratings : float64[n_ratings]
        The ratings. [points]

    Returns
    -------
    float64[2, n_nodes]
        Precision, and precision times level; both add over sessions.
    """
    shrink = shift_share(ratings.size)
    cup_sum = cups.sum(axis=1)
    precision = np.einsum("ij,ij->i", cups, cups) - shrink * cup_sum * cup_sum
    cross = cups @ ratings - shrink * cup_sum * ratings.sum()
    return np.asarray(np.stack([precision, cross]) / USUAL_SIGMA**2, dtype=np.float64)


def level_of(precision: FloatArray, cross: FloatArray) -> FloatArray:
    """Return the level that such sums and the prior N(6, 4) give, held to 0.2 ... 20 [points]."""
    level = (cross + LEVEL_MEAN / LEVEL_SD**2) / (precision + LEVEL_SD**-2)
    return np.asarray(np.clip(level, LOWEST_LEVEL, HIGHEST_LEVEL), dtype=np.float64)
