"""Lots that one taster tasted more than once, as arrays."""

from dataclasses import dataclass

import numpy as np

from tastings.maths.arrays import BoolArray, FloatArray, IndexArray
from tastings.maths.flights.cups import ServedCups


@dataclass(frozen=True, slots=True)
class Repeats:
    """Pairs of a taster and a lot with more than one cup; these cups share the taster's taste for the lot.

    Parameters
    ----------
    n : int
        How many such pairs.
    is_single : bool[n_cups]
        Whether a cup is its taster's only one of the lot.
    z : float64[n_cups, n]
        Incidence: 1 where the cup belongs to the pair.
    count : float64[n]
        Cups of each pair.
    taster : intp[n]
        Its taster.
    counts : intp[n_counts]
        The different values of ``count``.
    """

    n: int
    is_single: BoolArray
    z: FloatArray
    count: FloatArray
    taster: IndexArray
    counts: IndexArray

    @classmethod
    def of(cls, cups: ServedCups) -> "Repeats":
        """Find the pairs."""
        n_lots = len(cups.lots)
        pairs, pair, count = np.unique(cups.taster * n_lots + cups.lot, return_inverse=True, return_counts=True)
        repeated = count > 1
        index = np.cumsum(repeated) - 1
        is_single = ~repeated[pair]
        n = int(repeated.sum())
        z = one_hot(np.where(is_single, -1, index[pair]), n)
        return cls(
            n=n,
            is_single=is_single,
            z=z,
            count=count[repeated].astype(np.float64),
            taster=(pairs[repeated] // n_lots).astype(np.intp),
            counts=np.unique(count[repeated]),
        )


def one_hot(index: IndexArray, n: int) -> FloatArray:
    """Return float64[index.size, n] with a 1 where the index points; -1 points nowhere."""
    return np.asarray(index[:, None] == np.arange(n), dtype=np.float64)
