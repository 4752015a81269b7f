"""How many infusions are worth pouring.

An infusion is worth drinking while the strength of the even-brew cup is above the finish line. The recommendation is
the last infusion that is worth drinking with probability at least 0.5 over the draws of the posterior.
"""

from dataclasses import dataclass

import numpy as np

from tastings.maths.arrays import FloatArray

FINISH_LINE = 2.5
MIN_WORTHWHILE_PROBABILITY = 0.5
LEVEL = 0.8


@dataclass(frozen=True, slots=True)
class Steeps:
    """How many even-brew infusions are worth drinking."""

    # the largest n worth drinking with probability at least 0.5; 0 when none is; None when nobody rated the strength
    recommended: int | None
    # low, high: the narrowest range of the last infusion worth drinking that is at least 80 % probable
    low: int | None
    high: int | None
    finish_line: float  # strength below which a cup is not worth drinking [points, 0 to 10]


def count_worthwhile(
    cups: FloatArray, *, finish_line: FloatArray | float = FINISH_LINE, weights: FloatArray | None = None
) -> Steeps:
    """Count the infusions worth drinking.

    Parameters
    ----------
    cups : float64[n_draws, n_infusions]
        Strength of the even-brew infusions 1, 2, ... in each draw. [points]
    finish_line : float or float64[n_draws]
        Strength that a cup must exceed. [points]
    weights : float64[n_draws], optional
        Of each draw; equal when left out.

    Returns
    -------
    Steeps
        ``recommended`` within ``low`` ... ``high``.

    Examples
    --------
    >>> count_worthwhile(np.array([[6.0, 5.0, 3.0, 2.0], [6.0, 5.0, 4.0, 3.0], [5.0, 4.0, 2.0, 1.0]])).recommended
    3
    """
    n_draws, n_infusions = cups.shape
    weight = np.full(n_draws, 1 / n_draws) if weights is None else weights / weights.sum()
    line = np.broadcast_to(np.asarray(finish_line, dtype=np.float64), (n_draws,))
    is_worthwhile = cups > line[:, None]
    likely = np.flatnonzero(weight @ is_worthwhile >= MIN_WORTHWHILE_PROBABILITY - 1e-12)
    last = np.where(is_worthwhile.any(axis=1), n_infusions - is_worthwhile[:, ::-1].argmax(axis=1), 0)
    share = np.asarray(np.bincount(last, weights=weight, minlength=n_infusions + 1), dtype=np.float64)
    recommended = int(likely[-1]) + 1 if likely.size else 0
    low, high = _narrowest(share, around=recommended)
    return Steeps(recommended=recommended, low=low, high=high, finish_line=float(weight @ line))


def _narrowest(share: FloatArray, *, around: int) -> tuple[int, int]:
    """Return the first and the last of the fewest counts, ``around`` among them, that are 80 % probable together.

    Counts have a long tail towards the many: a central interval is a fifth wider there.
    """
    cumulative = np.concatenate([[0.0], np.cumsum(share)]) / share.sum()
    low, high = np.triu_indices(share.size)
    probability = cumulative[high + 1] - cumulative[low]
    enough = (low <= around) & (around <= high) & (probability >= LEVEL - 1e-9)
    best = np.lexsort([low, -probability.round(9), np.where(enough, high - low, share.size)])[0]
    return int(low[best]), int(high[best])


def unknown_count(*, finish_line: float = FINISH_LINE) -> Steeps:
    """Return the count of a lot whose strength nobody has rated."""
    return Steeps(recommended=None, low=None, high=None, finish_line=finish_line)
