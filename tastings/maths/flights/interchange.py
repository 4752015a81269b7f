"""Which lots each sitting gets: cups change places until lots compare as well as they can.

Steepest interchange: of all pairs of cups whose lots may change places, the pair that lowers the mean variance of a
difference of two lots most does so, until none lowers it. Then a few random pairs change places and the descent begins
again, until enough pairs are weighed; the best plan is returned. The variance of every pair comes from one inverse by
the identity for changes of rank two, as in John and Williams 1995, Cyclic and Computer Generated Designs, chapter 4
(interchange from memory; the identity is Woodbury's).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tastings.maths.arrays import BoolArray, FloatArray, IntArray
from tastings.maths.flights.efficiency import adjusting, bound, efficiency, information

MOST_PAIRS = 20_000
"""Most pairs that are weighed at a time; of more pairs, this many are drawn."""
PAIRS_IN_ALL = 2_000_000
"""No new round begins once this many pairs were weighed."""
MOST_ROUNDS = 200
KICKS = 3
_RIDGE = 1e-4
_GAIN = 1e-9


@dataclass(frozen=True, slots=True)
class Allocation:
    """What is poured, lots numbered from 0, and the cups whose lots may still change places."""

    counts: IntArray  # cups of each compared lot in each sitting; the sittings of a taster stand together, in order
    others: IntArray  # cups of lots not compared
    tasters: IntArray  # whose sitting it is
    # lot, block: lot and sitting of each cup that is free, by sitting
    lot: IntArray
    block: IntArray


def improve(
    allocation: Allocation, *, rng: np.random.Generator, on_progress: Callable[[float], None] | None = None
) -> Allocation:
    """Return the cups after interchange; every lot keeps how many cups it has, and every sitting its size.

    A pair may change places only where each taster has as many different lots as before and has none again before all
    are seen, no sitting gets a lot more often than it had one, and repeated cups stay as evenly spread over lots.
    """
    search = _Search(allocation)
    if not search.n_pairs:
        return allocation
    ceiling = bound(allocation.counts, allocation.others) - _GAIN
    weighed = search.descend(rng)
    best, least = search.allocation(), search.variance
    perfect = efficiency(best.counts, best.others) >= ceiling
    for number in range(MOST_ROUNDS):
        done = max(weighed / PAIRS_IN_ALL, number / MOST_ROUNDS)
        if on_progress:
            on_progress(min(done, 1.0))
        if done >= 1 or perfect or not search.kick(rng):
            break
        weighed += search.descend(rng)
        if search.variance < least * (1 - _GAIN):
            best, least = search.allocation(), search.variance
            perfect = efficiency(best.counts, best.others) >= ceiling
        elif search.variance > least * (1 + _GAIN):
            search = _Search(best)
    return best


class _Search:
    """The cups while their lots change places."""

    def __init__(self, allocation: Allocation) -> None:
        self._start = allocation
        self._counts, self._lot = allocation.counts.copy(), allocation.lot.copy()
        self._m = adjusting(
            np.maximum(allocation.counts.sum(axis=0) + allocation.others.sum(axis=0), 1), allocation.others
        )
        self._last = np.searchsorted(allocation.tasters, allocation.tasters, "right") - 1
        self._ends = np.unique(self._last)
        self._steps = int((self._last - np.arange(len(self._last))).max()) + 1
        """Most sittings of one taster."""
        first, other = np.triu_indices(len(allocation.lot), 1)
        apart = allocation.block[first] != allocation.block[other]
        self._first, self._other = first[apart], other[apart]
        self.n_pairs = len(self._first)
        self._update_products()

    def allocation(self) -> Allocation:
        """Return the allocation as it stands."""
        start = self._start
        return Allocation(self._counts.copy(), start.others, start.tasters, self._lot.copy(), start.block)

    def descend(self, rng: np.random.Generator) -> int:
        """Change places while it helps; return how many pairs were weighed."""
        failed, weighed, patience = 0, 0, 3 if self.n_pairs > MOST_PAIRS else 1
        while failed < patience:
            first, other = self._sample_pairs(rng)
            weighed += len(first)
            change = self._variance_change(first, other)
            better = np.flatnonzero(change < -_GAIN * self.variance)
            better = better[self._is_allowed(first[better], other[better])]
            failed += 1
            if len(better):
                pick = int(better[np.argmin(change[better])])
                before = self.variance
                self._exchange(int(first[pick]), int(other[pick]))
                if self.variance < before:
                    failed = 0
                else:  # rounding: the promised gain was none
                    self._exchange(int(first[pick]), int(other[pick]))
        return weighed

    def kick(self, rng: np.random.Generator) -> bool:
        """Let a few pairs change places by chance; return whether any could."""
        for number in range(KICKS):
            first, other = self._sample_pairs(rng)
            may = np.flatnonzero(self._is_allowed(first, other))
            if not len(may):
                return number > 0
            pick = int(may[rng.integers(len(may))])
            self._exchange(int(first[pick]), int(other[pick]))
        return True

    def _sample_pairs(self, rng: np.random.Generator) -> tuple[IntArray, IntArray]:
        if self.n_pairs <= MOST_PAIRS:
            return self._first, self._other
        sample = rng.integers(self.n_pairs, size=MOST_PAIRS)
        return self._first[sample], self._other[sample]

    def _exchange(self, first: int, other: int) -> None:
        a, c = self._lot[first], self._lot[other]
        p, q = self._start.block[first], self._start.block[other]
        self._counts[a, p] -= 1
        self._counts[c, q] -= 1
        self._counts[a, q] += 1
        self._counts[c, p] += 1
        self._lot[first], self._lot[other] = c, a
        self._update_products()

    def _update_products(self) -> None:
        """Compute the inverse and the products that the change of every pair follows from."""
        counts, n_lots = self._counts, len(self._counts)
        ridge = _RIDGE * counts.sum() / n_lots  # keeps it finite until lots are connected
        inverse = np.linalg.inv(information(counts, self._m) + ridge * np.eye(n_lots) + 1 / n_lots)
        h = counts @ self._m
        self.variance = float(np.trace(inverse))
        self._products = [(g, g @ h, h.T @ g @ h) for g in (inverse, inverse @ inverse)]

    def _variance_change(self, first: IntArray, other: IntArray) -> FloatArray:
        """Return by how much the trace of the inverse would change for each pair.

        Lots a and c of blocks p and q change places. With d = e_a - e_c and h the column of ``counts @ m`` of p less
        that of q, ``dd``, ``dh`` and ``hh`` are the forms d'Gd, d'Gh and h'Gh of the inverse G, ``dd2``, ``dh2`` and
        ``hh2`` those of its square.
        """
        a, c = self._lot[first], self._lot[other]
        p, q = self._start.block[first], self._start.block[other]
        n_lots, n_blocks = self._counts.shape
        lots, blocks = a * n_lots + c, p * n_blocks + q
        forms = []
        for g, gh, hgh in self._products:
            flat = gh.ravel()
            dh = flat[c * n_blocks + p] - flat[a * n_blocks + p] - flat[c * n_blocks + q] + flat[a * n_blocks + q]
            forms.append((_pair_differences(g).ravel()[lots], dh, _pair_differences(hgh).ravel()[blocks]))
        (dd, dh, hh), (dd2, dh2, hh2) = forms
        corner = _pair_differences(self._m).ravel()[blocks] + hh
        away = 1 - dh
        growth = away**2 - dd * corner  # of the determinant
        with np.errstate(divide="ignore", invalid="ignore"):
            change = (corner * dd2 + 2 * away * dh2 + dd * hh2) / growth
        return np.where(growth > 1e-12, change, np.inf)

    def _is_allowed(self, first: IntArray, other: IntArray) -> BoolArray:
        """Return which pairs may change places."""
        a, c = self._lot[first], self._lot[other]
        p, q = self._start.block[first], self._start.block[other]
        counts, tasters, last = self._counts, self._start.tasters, self._last
        may = (a != c) & (counts[c, p] < counts[a, p]) & (counts[a, q] < counts[c, q])
        left = np.flatnonzero(may)  # the rest is asked of these alone
        a, c, p, q = a[left], c[left], p[left], q[left]
        seen = _cups_so_far(counts, tasters)
        by_all = seen[:, last]  # when the taster has had all sittings
        same = tasters[p] == tasters[q]
        across = (by_all[c, p] + 1 == by_all[a, p]) & (by_all[a, q] + 1 == by_all[c, q])
        within = np.ones(len(p), dtype=np.bool_)
        for step in range(self._steps):
            at_p, at_q = np.minimum(p + step, last[p]), np.minimum(q + step, last[q])
            less_of_c = seen[c, at_p] < seen[a, at_p]
            across &= less_of_c & (seen[a, at_q] < seen[c, at_q])
            within &= (p + step >= q) | less_of_c
        fits = np.where(same, within, across)
        repeated = np.maximum(seen[:, self._ends] - 1, 0).sum(axis=1)
        if repeated.any():
            a_more = (by_all[a, q] >= 1).astype(int) - (by_all[a, p] >= 2)
            c_more = (by_all[c, p] >= 1).astype(int) - (by_all[c, q] >= 2)
            grows = 2 * repeated[a] * a_more + a_more**2 + 2 * repeated[c] * c_more + c_more**2
            fits &= same | (grows <= 0)
        may[left] = fits
        return np.asarray(may)


def _cups_so_far(counts: IntArray, tasters: IntArray) -> IntArray:
    """Return the cups of each lot that the taster of each sitting has had by its end."""
    so_far = counts.copy()
    for block in range(1, len(tasters)):
        if tasters[block] == tasters[block - 1]:
            so_far[:, block] += so_far[:, block - 1]
    return so_far


def _pair_differences(g: FloatArray) -> FloatArray:
    """Return ``(e_i - e_j) @ g @ (e_i - e_j)`` for every i, j."""
    own = np.diag(g)
    return np.asarray(own[:, None] + own[None, :] - 2 * g)
