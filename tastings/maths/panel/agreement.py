"""How far tasters agree: intraclass correlations of ratings, and Kendall's coefficient of concordance of ranks.

Sources: Shrout and Fleiss 1979, Psychological Bulletin 86:420-428 (their six forms); Kendall's W with the correction
for ties as in Zar 2010, Biostatistical Analysis, example 20.5.
"""

from dataclasses import dataclass

import numpy as np
import scipy

from tastings.maths.arrays import FloatArray


class AgreementError(ValueError):
    """The table of ratings is too small, has gaps, or does not vary."""


@dataclass(frozen=True, slots=True)
class Intraclass:
    """Shrout and Fleiss's six correlations."""

    # one_way, two_way, fixed: of a single rating: tasters drawn anew for every tea; the same tasters, levels counted;
    # levels not counted
    one_way: float
    two_way: float
    fixed: float
    # one_way_mean, two_way_mean, fixed_mean: the same, of the mean over the tasters
    one_way_mean: float
    two_way_mean: float
    fixed_mean: float


def intraclass(ratings: FloatArray) -> Intraclass:
    """Return the intraclass correlations of a full table.

    Parameters
    ----------
    ratings : float64[n_teas, n_tasters]
        At least two of each, no gaps. [points]

    Returns
    -------
    Intraclass
        Each at most 1; below 0 when tasters differ more than teas.

    Raises
    ------
    AgreementError
        Too small, a number missing, or nothing varies.

    Examples
    --------
    >>> table = np.array([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7.0]])
    >>> found = intraclass(table)
    >>> round(found.one_way, 2), round(found.two_way, 2), round(found.fixed, 2)
    (0.17, 0.29, 0.71)
    """
    table = _full(ratings)
    n, k = table.shape
    centre = table.mean()
    between = k * float(((table.mean(axis=1) - centre) ** 2).sum()) / (n - 1)
    tasters = n * float(((table.mean(axis=0) - centre) ** 2).sum()) / (k - 1)
    within = float(((table - table.mean(axis=1, keepdims=True)) ** 2).sum()) / (n * (k - 1))
    rest = (within * n * (k - 1) - tasters * (k - 1)) / ((n - 1) * (k - 1))
    if between <= 1e-12:
        raise AgreementError("the teas do not differ, so agreement about them cannot be told")
    return Intraclass(
        one_way=(between - within) / (between + (k - 1) * within),
        two_way=(between - rest) / (between + (k - 1) * rest + k * (tasters - rest) / n),
        fixed=(between - rest) / (between + (k - 1) * rest),
        one_way_mean=(between - within) / between,
        two_way_mean=(between - rest) / (between + (tasters - rest) / n),
        fixed_mean=(between - rest) / between,
    )


def concordance(ratings: FloatArray) -> float:
    """Return Kendall's W of a full table, float64[n_teas, n_tasters], ties corrected [0 to 1].

    Raises
    ------
    AgreementError
        Too small, a number missing, or no taster tells any tea from another.

    Examples
    --------
    >>> round(concordance(np.array([[1.0, 1.0], [2.0, 2.0], [3.0, 3.0]])), 6)
    1.0
    """
    table = _full(ratings)
    n, m = table.shape
    ranks = scipy.stats.rankdata(table, axis=0)
    ties = sum(float((count**3 - count).sum()) for count in (np.unique(c, return_counts=True)[1] for c in table.T))
    spread = float(((ranks.sum(axis=1) - m * (n + 1) / 2) ** 2).sum())
    most = m * m * (n**3 - n) - m * ties
    if most <= 0:
        raise AgreementError("no taster tells any tea from another")
    return float(12 * spread / most)


def _full(ratings: FloatArray) -> FloatArray:
    table = np.asarray(ratings, dtype=np.float64)
    if table.ndim != 2 or min(table.shape) < 2:
        raise AgreementError("at least two teas and two tasters are needed")
    if not np.isfinite(table).all():
        raise AgreementError("every taster must have rated every tea")
    return table
