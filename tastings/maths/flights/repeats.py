"""Lots that one taster tasted more than once, as arrays."""

import numpy as np

from tastings.maths.arrays import FloatArray, IndexArray
from tastings.maths.flights.cups import Tray


class Repeats:
    """Lots that one taster tasted more than once; their cups share the taster's taste for the lot."""

    def __init__(self, cups: Tray) -> None:
        place = cups.taster * len(cups.lots) + cups.lot
        cells, cell, count = np.unique(place, return_inverse=True, return_counts=True)
        again = count > 1
        index = np.cumsum(again) - 1
        self.n = int(again.sum())
        self.single = ~again[cell]
        self.cell = np.where(self.single, 0, index[cell])
        self.count = count[again].astype(np.float64)
        self.taster = (cells[again] // len(cups.lots)).astype(np.intp)
        self.member = np.zeros((cups.score.size, self.n))
        many = np.flatnonzero(~self.single)
        self.member[many, self.cell[many]] = 1.0
        self.sizes: IndexArray = np.unique(count[again])


def one_hot(index: IndexArray, n: int) -> FloatArray:
    """Return float64[index.size, n] with a 1 where the index points; -1 points nowhere."""
    return np.asarray(index[:, None] == np.arange(n), dtype=np.float64)
