"""The data of the mixed model: scores, incidence matrices, and the cross-products that every sweep uses."""

from dataclasses import dataclass

import numpy as np

from tastings.maths.arrays import FloatArray, IndexArray
from tastings.maths.flights.cups import ServedCups
from tastings.maths.flights.gibbs.repeats import Repeats, one_hot


@dataclass(frozen=True, slots=True)
class CrossProducts:
    """Sums over the cups of each weight group; ``x1`` stands for the columns 1, position, first cup.

    A weight group is the cups of one sitting that share one weight: those of lots that the taster had once, and those
    of lots that the taster had again.
    """

    # lot_lot, previous_previous, float64[n_groups, n_lots]: diagonals: cups of each lot, and cups that follow it
    lot_lot: FloatArray
    previous_previous: FloatArray
    # float64[n_groups, n_lots * n_lots]: how often two lots stand side by side, in either order
    lot_previous: FloatArray
    lot_x1: FloatArray  # float64[n_groups, n_lots, 3]
    previous_x1: FloatArray  # float64[n_groups, n_lots, 3]
    x1_x1: FloatArray  # float64[n_groups, 3, 3]


@dataclass(frozen=True, slots=True)
class Design:
    """The cups of a flight as a mixed model has them."""

    y: FloatArray  # float64[n_cups]: scores less `mean_score`, as shares of the scale
    mean_score: float  # mean score as a share of the scale
    # taster, sitting, group, intp[n_cups]: whose cup it is, in which sitting, and its weight group
    taster: IndexArray
    sitting: IndexArray
    group: IndexArray
    sitting_taster: IndexArray  # intp[n_sittings]: whose sitting it is
    # group_taster, group_repeats, intp[n_groups]: Whose group it is; 1 for cups of lots that the taster had again, else
    # 0. Two groups for each sitting, in order.
    group_taster: IndexArray
    group_repeats: IndexArray
    # z_lot, z_previous, float64[n_cups, n_lots]: incidence of the lot in the cup and of the one before it; a row of
    # zeros where none was before
    z_lot: FloatArray
    z_previous: FloatArray
    z_sitting: FloatArray  # float64[n_cups, n_sittings]
    z_taster: FloatArray  # float64[n_cups, n_tasters]
    z_sitting_taster: FloatArray  # float64[n_sittings, n_tasters]
    # float64[n_cups, 2]: covariates: position in the sitting and whether it was the first cup, less their means
    x: FloatArray
    repeats: Repeats  # lots that one taster had more than once
    sums: CrossProducts

    @classmethod
    def of(cls, cups: ServedCups, *, scale: float) -> "Design":
        """Take the data from the cups; ``scale`` is the highest score. [points]."""
        n_lots, n_tasters, n_sittings = len(cups.lots), len(cups.tasters), len(cups.sittings)
        mean_score = float(cups.score.mean()) / scale
        repeats, sitting_taster = Repeats.of(cups), cups.sitting_taster()
        z_lot, z_previous = one_hot(cups.lot, n_lots), one_hot(cups.previous, n_lots)
        x = np.column_stack([cups.position - cups.position.mean(), cups.position == 1]).astype(np.float64)
        x -= x.mean(axis=0)
        group = 2 * cups.sitting + ~repeats.is_single
        return cls(
            y=cups.score / scale - mean_score,
            mean_score=mean_score,
            taster=cups.taster,
            sitting=cups.sitting,
            group=group,
            sitting_taster=sitting_taster,
            group_taster=np.repeat(sitting_taster, 2),
            group_repeats=np.tile([0, 1], n_sittings),
            z_lot=z_lot,
            z_previous=z_previous,
            z_sitting=one_hot(cups.sitting, n_sittings),
            z_taster=one_hot(cups.taster, n_tasters),
            z_sitting_taster=one_hot(sitting_taster, n_tasters),
            x=x,
            repeats=repeats,
            sums=_cross_products(one_hot(group, 2 * n_sittings), z_lot=z_lot, z_previous=z_previous, x=x),
        )

    @property
    def n_lots(self) -> int:
        """How many lots there are."""
        return int(self.z_lot.shape[1])

    @property
    def n_tasters(self) -> int:
        """How many tasters there are."""
        return int(self.z_taster.shape[1])

    @property
    def n_sittings(self) -> int:
        """How many sittings there are."""
        return int(self.z_sitting.shape[1])


def _cross_products(z_group: FloatArray, *, z_lot: FloatArray, z_previous: FloatArray, x: FloatArray) -> CrossProducts:
    x1 = np.column_stack([np.ones(len(x)), x])
    ordered = np.einsum("ng,nl,nm->glm", z_group, z_lot, z_previous, optimize=True)
    return CrossProducts(
        lot_lot=z_group.T @ z_lot,
        previous_previous=z_group.T @ z_previous,
        lot_previous=(ordered + ordered.transpose(0, 2, 1)).reshape(len(ordered), -1),
        lot_x1=np.einsum("ng,nl,nk->glk", z_group, z_lot, x1, optimize=True),
        previous_x1=np.einsum("ng,nl,nk->glk", z_group, z_previous, x1, optimize=True),
        x1_x1=np.einsum("ng,nk,nm->gkm", z_group, x1, x1, optimize=True),
    )
