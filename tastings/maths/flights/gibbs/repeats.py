"""Lots that one taster tasted more than once, as arrays."""

from dataclasses import dataclass

import numpy as np

from tastings.maths.arrays import BoolArray, FloatArray, IndexArray
from tastings.maths.flights.cups import ServedCups


@dataclass(frozen=True, slots=True)
class Repeats:
    """Pairs of a taster and a lot with more than one cup; these cups share the taster's taste for the lot."""

    n: int  # how many such pairs
    is_single: BoolArray  # bool[n_cups]: whether a cup is its taster's only one of the lot
    z: FloatArray  # float64[n_cups, n]: incidence: 1 where the cup belongs to the pair
    count: FloatArray  # float64[n]: cups of each pair
    taster: IndexArray  # intp[n]: its taster
    counts: IndexArray  # intp[n_counts]: the different values of `count`

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
