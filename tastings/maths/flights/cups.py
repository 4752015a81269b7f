"""Cups of a blind flight as they were tasted, in the order that makes no figure depend on names."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import isfinite, sqrt
from statistics import fmean

import numpy as np

from tastings.maths.arrays import FloatArray, IndexArray


class CupError(ValueError):
    """A cup's score or place cannot be one."""


@dataclass(frozen=True, slots=True)
class Cup:
    """One cup tasted blind."""

    # lot, taster: what was in it and who tasted it
    lot: str
    taster: str
    sitting: str  # one sitting of one taster; no two tasters share one
    position: int  # 1 is the first cup of the sitting
    score: float  # on the scale of the flight [points]


@dataclass(frozen=True, slots=True)
class ServedCups:
    """All cups of a flight as arrays, ordered by sitting and position.

    Lots are counted from 0 in the order in which they come up there, so that their names matter to no figure.
    """

    # lots, tasters, sittings: names; a lot without a cup stands at the end
    lots: tuple[str, ...]
    tasters: tuple[str, ...]
    sittings: tuple[str, ...]
    score: FloatArray  # float64[n_cups]: [points]
    # lot, taster, sitting, intp[n_cups]: indices into the names
    lot: IndexArray
    taster: IndexArray
    sitting: IndexArray
    previous: IndexArray  # intp[n_cups]: the lot tasted just before in the sitting; -1 for the first
    position: FloatArray  # float64[n_cups]: place in the sitting

    def sitting_taster(self) -> IndexArray:
        """Return whose each sitting is, intp[n_sittings]."""
        whose = np.zeros(len(self.sittings), dtype=np.intp)
        whose[self.sitting] = self.taster
        return whose


def served_cups(cups: Iterable[Cup], *, scale: float, lots: Sequence[str] = ()) -> ServedCups:
    """Set cups in order.

    Parameters
    ----------
    cups : Iterable[Cup]
        In any order.
    scale : float
        The highest score; the lowest is 0. [points]
    lots : Sequence[str]
        Lots that belong to the flight whether or not they have been tasted.

    Returns
    -------
    ServedCups
        Empty without a cup.

    Raises
    ------
    CupError
        A score off the scale, a position below 1 or taken twice, or a sitting of two tasters.
    """
    if not (isfinite(scale) and scale > 0):
        raise CupError("the scale must end above 0")
    order = sorted(cups, key=lambda cup: (cup.taster, cup.sitting, cup.position, cup.score, cup.lot))
    for cup in order:
        if not (isfinite(cup.score) and 0 <= cup.score <= scale):
            raise CupError(f"a score must lie between 0 and {scale:g}")
        if cup.position < 1:
            raise CupError("positions count from 1")
    if len({(cup.sitting, cup.position) for cup in order}) < len(order):
        raise CupError("two cups have the same position in a sitting")
    if len({(cup.sitting, cup.taster) for cup in order}) > len({cup.sitting for cup in order}):
        raise CupError("two tasters share a sitting")
    names = tuple(dict.fromkeys([*(cup.lot for cup in order), *sorted(lots)]))
    tasters = tuple(dict.fromkeys(cup.taster for cup in order))
    sittings = tuple(dict.fromkeys(cup.sitting for cup in order))
    lot = np.array([names.index(cup.lot) for cup in order], dtype=np.intp)
    sitting = np.array([sittings.index(cup.sitting) for cup in order], dtype=np.intp)
    first = np.append(True, sitting[1:] != sitting[:-1])[: sitting.size]
    return ServedCups(
        lots=names,
        tasters=tasters,
        sittings=sittings,
        score=np.array([cup.score for cup in order], dtype=np.float64),
        lot=lot,
        taster=np.array([tasters.index(cup.taster) for cup in order], dtype=np.intp),
        sitting=sitting,
        previous=np.where(first, -1, np.roll(lot, 1)),
        position=np.array([cup.position for cup in order], dtype=np.float64),
    )


def mean_scores(cups: Iterable[Cup]) -> dict[str, dict[str, float]]:
    """Return each taster's mean score of each lot tasted. [points]."""
    scores_of: dict[str, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    for cup in cups:
        scores_of[cup.taster][cup.lot].append(cup.score)
    return {
        taster: {lot: fmean(sorted(scores)) for lot, scores in sorted(row.items())}
        for taster, row in sorted(scores_of.items())
    }


def repeatability(cups: Iterable[Cup]) -> tuple[float | None, dict[str, float]]:
    """Return the standard deviation of hidden duplicates: of all tasters together, and of each who had any. [points].

    A duplicate is one lot tasted twice or more by one taster, in one sitting or several. Every taster's differences
    count by their degrees of freedom; None without a duplicate.
    """
    scores: dict[tuple[str, str], list[float]] = defaultdict(list)
    for cup in cups:
        scores[cup.taster, cup.lot].append(cup.score)
    squares: dict[str, float] = defaultdict(float)
    freedom: dict[str, int] = defaultdict(int)
    for (taster, _), values in sorted(scores.items()):
        if len(values) > 1:
            centre = fmean(values)
            squares[taster] += sum((value - centre) ** 2 for value in sorted(values))
            freedom[taster] += len(values) - 1
    if not freedom:
        return None, {}
    return sqrt(sum(squares.values()) / sum(freedom.values())), {
        taster: sqrt(squares[taster] / freedom[taster]) for taster in sorted(freedom)
    }
