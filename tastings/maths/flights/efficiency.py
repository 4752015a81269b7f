"""How much of the information about lots is left when every sitting has a level of its own.

Source: John and Williams 1995, Cyclic and Computer Generated Designs, 2nd ed., chapter 2 (from memory; the bounds of
section 2.8 as in the public R package blocksdesign, function A_bound, read for the formulas).
"""

from math import sqrt

import numpy as np
import scipy

from tastings.maths.arrays import FloatArray, IntArray

_NOTHING = 1e-9


def no_others(n_blocks: int) -> IntArray:
    """Return the empty count of other lots."""
    return np.zeros((0, n_blocks), dtype=np.int64)


def adjusting(sizes: IntArray, others: IntArray) -> FloatArray:
    """Return what adjusts lots for sittings and for lots that are not compared.

    Parameters
    ----------
    sizes : int[n_blocks]
        All cups of each sitting, at least one. [cups]
    others : int[n_others, n_blocks]
        Cups of lots that are poured but not compared (a reference, a lot since spilled). [cups]

    Returns
    -------
    float[n_blocks, n_blocks]
        M, such that the information on the compared lots is ``diag(counts.sum(1)) - counts @ M @ counts.T``.
    """
    share = np.diag(1 / sizes)
    if not len(others):
        return share
    across = others @ share
    inner = np.diag(others.sum(axis=1)) - across @ others.T
    return np.asarray(share + across.T @ np.linalg.pinv(inner, rcond=_NOTHING, hermitian=True) @ across)


def information(counts: IntArray, m: FloatArray) -> FloatArray:
    """Return the information matrix of the lots, float[n_lots, n_lots], in cups."""
    return np.asarray(np.diag(counts.sum(axis=1)) - counts @ m @ counts.T)


def is_connected(counts: IntArray, others: IntArray) -> bool:
    """Return whether any two of the lots can be compared through sittings, over other lots if need be."""
    both = np.vstack([counts, others])
    n_lots, n_blocks = both.shape
    graph = np.zeros((n_lots + n_blocks, n_lots + n_blocks), dtype=np.int64)
    graph[:n_lots, n_lots:] = both
    labels = scipy.sparse.csgraph.connected_components(scipy.sparse.csr_array(graph), directed=False)[1]
    return bool((labels[: len(counts)] == labels[0]).all())


def efficiency(counts: IntArray, others: IntArray) -> float:
    """Return the mean efficiency factor of the comparisons of two lots, adjusted for sittings.

    Parameters
    ----------
    counts : int[n_lots, n_blocks]
        Cups of each compared lot in each sitting.
    others : int[n_others, n_blocks]
        Cups of lots that are poured but not compared; ``no_others`` if there are none.

    Returns
    -------
    float
        Mean variance of a difference of two lots if as many cups were equally spread in complete sittings, divided by
        that of this plan; 0 (some difference cannot be had) to 1. With equally many cups of each lot it is the
        harmonic mean of the canonical efficiency factors.

    Examples
    --------
    The seven lines of three points:

    >>> lines = [(0, 1, 2), (0, 3, 4), (0, 5, 6), (1, 3, 5), (1, 4, 6), (2, 3, 6), (2, 4, 5)]
    >>> counts = np.array([[int(lot in line) for line in lines] for lot in range(7)])
    >>> round(efficiency(counts, no_others(7)), 6)
    0.777778
    """
    if len(counts) < 2:
        return 1.0
    if not is_connected(counts, others):
        return 0.0
    values = np.linalg.eigvalsh(information(counts, adjusting((counts.sum(axis=0) + others.sum(axis=0)), others)))[1:]
    return float((len(counts) - 1) / (counts.sum() / len(counts) * (1 / values).sum()))


def bound(counts: IntArray, others: IntArray) -> float:
    """Return what no plan can pass whose lots have as many cups and whose sittings have these sizes.

    For lots with equally many cups, sittings of one size and no other lot it is the least of the bounds of John and
    Williams that rest on the first and second moment of the efficiency factors, of the dual when there are fewer
    sittings than lots: ``lots (cups - 1) / (cups (lots - 1))`` where that can be reached. Otherwise it rests on the
    first moment alone, carried over to unequal numbers: with R the cups of each lot and e the factors other than 0,
    the summed variance is at least ``(1 - 1 / lots) sum(1 / R) + sum(1 / e - 1) / max(R)``, all but ``sittings - 1``
    of e are 1, and their sum is known (own derivation; equal to the former for equal numbers).
    """
    used = counts.sum(axis=0) > 0
    filled, rest = counts[:, used], others[:, used]
    n_lots, n_blocks = filled.shape
    cups, sizes = filled.sum(axis=1), filled.sum(axis=0) + rest.sum(axis=0)
    n_others = int((rest.sum(axis=1) > 0).sum())
    if n_lots < 2 or others[:, ~used].any():
        return 1.0  # sittings of other lots alone may tie lots together: nothing sharper is known then
    if cups.min() < 1 or sizes.sum() < n_lots + n_others + n_blocks - 1:
        return 0.0  # fewer cups than it takes to tie lots and sittings together
    varied = min(n_lots, n_blocks) - 1
    adjusted = _least_adjusted(cups, sizes=sizes, inside=filled.sum(axis=0), others=rest)
    mean = 1.0 if varied == 0 else (varied + 1 - adjusted) / varied
    if mean <= 0:
        return 0.0
    mean = min(mean, 1.0)
    if varied > 1 and not n_others and np.ptp(cups) == 0 and np.ptp(sizes) == 0 and sizes[0] <= n_lots:
        mean = _with_second_moment(mean, n=varied + 1, repeats=float(cups[0]), size=float(sizes[0]), other=n_lots)
    summed = (1 - 1 / n_lots) * float((1 / cups).sum()) + varied * (1 / mean - 1) / float(cups.max())
    return min(float((n_lots - 1) / (cups.mean() * summed)), 1.0)


def _least_adjusted(cups: IntArray, *, sizes: IntArray, inside: IntArray, others: IntArray) -> float:
    """Return the least possible trace of what adjusting takes away, relative to each lot's cups."""
    n_lots = len(cups)
    whole, over = inside // n_lots, inside % n_lots
    squares = whole**2 * (n_lots - over) + (whole + 1) ** 2 * over
    within = max(float((squares / sizes).sum() / cups.max()), n_lots / float(sizes.max()))
    if not len(others):
        return within
    between = adjusting(sizes, others) - np.diag(1 / sizes)
    return within + float(inside @ between @ inside / inside.sum())


def _with_second_moment(mean: float, *, n: int, repeats: float, size: float, other: int) -> float:
    """Return the harmonic mean that ``n - 1`` factors of this mean can have at most, as pairs meet in whole numbers.

    In the dual (fewer sittings than lots) sittings and lots, and with them ``repeats`` and ``size``, change places.
    """
    r, k = (repeats, size) if n == other else (size, repeats)
    meetings = r * (k - 1) / (n - 1)
    odd = meetings - np.floor(meetings + _NOTHING)
    second = n * (n - 1) * odd * (1 - odd) / (r * k) ** 2
    if second <= _NOTHING or n < 3:
        return mean
    step = sqrt(second / ((n - 1) * (n - 2)))
    one_large = mean - (n - 2) * step**2 / (mean + (n - 3) * step)
    room = (1 - mean) * (n - 1) - second
    some_whole = mean - (1 - mean) * second / room if room > _NOTHING else mean
    return float(min(one_large, some_whole))
