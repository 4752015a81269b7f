"""How many cups of each lot each taster gets, and in which sitting: as even as the numbers allow.

The numbers are the exact answer of a flow problem with convex costs (a linear programme whose corners are whole
numbers): a taster's second cup of a lot costs more than any unevenness among lots, and each further cup of a lot more
than the one before. Chance decides among equals. Repeats that are asked for are dealt after the first cups, in the same
way among the lots that each taster has; the most even of some attempts is taken.
"""

from collections.abc import Sequence

import numpy as np
import scipy

from tastings.maths.arrays import IntArray
from tastings.maths.flights.sittings import PlanError

_REPEAT_COST = 1000.0
_ATTEMPTS = 30


def deal(
    *, had: IntArray, need: IntArray, poured: IntArray, repeats: Sequence[int], rng: np.random.Generator
) -> IntArray:
    """Return how many more cups of each lot each taster gets.

    Parameters
    ----------
    had : int[n_tasters, n_lots]
        Cups that they have had and keep.
    need : int[n_tasters]
        How many more each gets.
    poured : int[n_lots]
        Cups of each lot that are fixed, of any taster.
    repeats : Sequence[int]
        How many of each taster's cups must be of a lot that the taster gets elsewhere too.

    Returns
    -------
    int[n_tasters, n_lots]
        Without a required repeat, no lot comes to a taster again before all have.
    """
    n_lots, different = had.shape[1], (had > 0).sum(axis=1)
    total = had.sum(axis=1) + need
    required = np.asarray(repeats, dtype=np.int64)
    bare = total - np.minimum(different + need, n_lots) < required  # whose repeats do not come by themselves
    forced = np.where(bare, need - np.clip(np.minimum(total - required, n_lots) - different, 0, need), 0)
    best, least = None, (0, 0)
    for _ in range(_ATTEMPTS):
        first = _flow(had, need=need - forced, start=poured, step=1.0, only_seen=False, rng=rng)
        if not forced.any():
            return first
        sofar = had + first
        start = 10 * (poured + first.sum(axis=0)) + _repeats(sofar)  # even cups first, then even repeats
        second = _flow(sofar, need=forced, start=start, step=11.0, only_seen=True, rng=rng)
        cups, again = poured + (first + second).sum(axis=0), _repeats(sofar + second)
        uneven = int((cups**2).sum()), int((again**2).sum())
        if best is None or uneven < least:
            best, least = first + second, uneven
        if np.ptp(cups) <= 1 and np.ptp(again) <= 1:
            break
    return np.zeros_like(had) if best is None else best


def _repeats(cups: IntArray) -> IntArray:
    """Return how many cups of each lot repeat another of the same taster."""
    return np.asarray(np.maximum(cups - 1, 0).sum(axis=0))


def _flow(  # noqa: PLR0913  # two rounds differ in each of these
    had: IntArray, *, need: IntArray, start: IntArray, step: float, only_seen: bool, rng: np.random.Generator
) -> IntArray:
    """Share ``need`` cups out; the n-th of a lot costs ``start + step (n - 1)``."""
    n_tasters, n_lots = had.shape
    if not need.any():
        return np.zeros_like(had)
    units = int(need.max()) // max(n_lots // 2, 1) + 2
    t, i, u = (axis.ravel() for axis in np.meshgrid(range(n_tasters), range(n_lots), range(units), indexing="ij"))
    own = _REPEAT_COST * (had[t, i] + u) * step + rng.uniform(0, 0.01, len(t))
    copies = min(n_tasters * units, int(need.sum()))
    lot, copy = (axis.ravel() for axis in np.meshgrid(range(n_lots), range(copies), indexing="ij"))
    most = np.concatenate([(had[t, i] > 0) | (not only_seen), np.ones(len(lot))])
    shared = start[lot] + step * copy
    rows = np.concatenate([t, n_tasters + i, n_tasters + lot])
    columns = np.concatenate([np.arange(len(t)), np.arange(len(t)), len(t) + np.arange(len(lot))])
    signs = np.concatenate([np.ones(2 * len(t)), -np.ones(len(lot))])
    balance = scipy.sparse.coo_array((signs, (rows, columns)), shape=(n_tasters + n_lots, len(t) + len(lot)))
    solution = scipy.optimize.linprog(
        np.concatenate([own, shared]),
        A_eq=balance.toarray(),
        b_eq=np.concatenate([need, np.zeros(n_lots)]),
        bounds=[(0.0, float(bound)) for bound in most],
        method="highs-ds",
    )
    if solution.x is None:
        # what was tasted already can leave a taster with more free cups than there are lots to fill them
        raise PlanError("lots", "no_even_plan")
    dealt = np.rint(solution.x[: len(t)]).astype(np.int64)
    return np.asarray(dealt.reshape(n_tasters, n_lots, units).sum(axis=2))


def into_sittings(counts: IntArray, *, room: Sequence[int], had: IntArray, rng: np.random.Generator) -> list[list[int]]:
    """Share a taster's cups out over the sittings.

    Parameters
    ----------
    counts : int[n_lots]
        Cups of each lot; their sum is that of ``room``.
    room : Sequence[int]
        Free cups of each sitting.
    had : int[n_lots, n_sittings]
        Cups of each lot that are fixed in each sitting.

    Returns
    -------
    list[list[int]]
        Lots of each sitting: none twice in a sitting and none again before all are seen, where that can be.
    """
    left, sittings = counts.copy(), []
    seen = np.zeros(len(counts), dtype=np.int64)
    tie_break = rng.random(len(counts))
    for number, free in enumerate(room):
        here: list[int] = []
        inside = had[:, number].copy()
        seen = seen + had[:, number]
        after = sum(1 for other in room[number:] if other)
        for _ in range(free):
            open_lots = np.flatnonzero(left)
            key = [(inside[i], left[i] + inside[i] < after, seen[i], tie_break[i]) for i in open_lots]
            pick = int(open_lots[min(range(len(open_lots)), key=key.__getitem__)])
            here.append(pick)
            left[pick] -= 1
            inside[pick] += 1
            seen[pick] += 1
        sittings.append(here)
    return sittings
