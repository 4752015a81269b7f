"""Ranking tests: whether tasters rank lots alike, which lots their rank sums tell apart, and a trend that was expected.

Ranks count from 1 for the lowest score; equal scores share the mean of their ranks. One statistic serves full and
incomplete tables, namely that of Skillings and Mack 1981 (Technometrics 23:171-177) with every taster's covariance
made smaller by that taster's ties: where every taster has tasted every lot it is Friedman's as in ISO 8587, and where
the blocks are balanced and no taster scores two lots alike it is Durbin's (Conover 1999, Practical Nonparametric
Statistics, section 5.9; with ties his T1 divides by the variance of all ranks together, this by each taster's own).

Its probability comes from permuting each taster's own ranks, since the chi-squared approximation is too cautious in a
small panel (Friedman's: 0.016 where 0.05 is stated, three lots and five tasters); in a large one the two agree.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import sqrt

import numpy as np
import scipy
from scipy.special import chdtrc, ndtri

from tastings.maths.arrays import FloatArray

MOST_EXACT_LOTS, MOST_EXACT_TASTERS = 6, 12
"""Most lots for which Page's probability is exact, which takes milliseconds; beyond, it is that of a normal."""
MOST_PERMUTED_TASTERS, PERMUTATIONS = 24, 20_000
"""Largest panel that is permuted; for larger ones the chi-squared distribution is used."""
FRIEDMAN, DURBIN, SKILLINGS_MACK = "Friedman", "Durbin", "Skillings-Mack"

ScoreTable = Mapping[str, Mapping[str, float]]
"""Scores by taster and lot; a lot that a taster did not taste is absent."""


class RankingError(ValueError):
    """The table cannot be ranked."""


@dataclass(frozen=True, slots=True)
class FriedmanTest:
    """Whether tasters rank lots alike more than chance would have it."""

    # `Friedman` for a full table, `Durbin` for balanced incomplete blocks, `Skillings-Mack` for any other
    name: str
    statistic: float  # chi-squared, corrected for ties
    degrees_of_freedom: int  # lots that can be compared, less the groups they fall into when no taster links them
    p: float  # probability of so much agreement by chance; never 0
    # tasters, lots: how many the table holds, those who tasted fewer than two lots left out
    tasters: int
    lots: int


@dataclass(frozen=True, slots=True)
class PageTest:
    """Page's test of an order that was expected: L, and the probability of so large an L by chance."""

    statistic: float
    p: float
    tasters: int
    lots: tuple[str, ...]


def friedman_test(table: ScoreTable) -> FriedmanTest | None:
    """Return the test that all lots are ranked alike.

    Parameters
    ----------
    table : Mapping[str, Mapping[str, float]]
        Scores by taster and lot, gaps allowed.

    Returns
    -------
    FriedmanTest or None
        None when no taster tells one lot from another, or fewer than two tasters compare.

    Examples
    --------
    >>> scores = {"a": {"x": 1.0, "y": 2.0, "z": 3.0}, "b": {"x": 4.0, "y": 6.0, "z": 8.0}}
    >>> found = friedman_test(scores)
    >>> found.name, round(found.statistic, 9), found.degrees_of_freedom
    ('Friedman', 4.0, 2)
    """
    rows = [(taster, row) for taster, row in sorted(table.items()) if len(row) > 1]
    lots = sorted({lot for _, row in rows for lot in row})
    if len(rows) < 2:
        return None
    place = {lot: index for index, lot in enumerate(lots)}
    total, covariance = np.zeros(len(lots)), np.zeros((len(lots), len(lots)))
    blocks = []
    for _, row in rows:
        tasted = sorted(row)
        at, k = [place[lot] for lot in tasted], len(tasted)
        ranks, ties = _ranked([row[lot] for lot in tasted])
        scaled = sqrt(12 / (k + 1)) * (ranks - (k + 1) / 2)
        total[at] += scaled
        blocks.append((at, scaled))
        covariance[np.ix_(at, at)] += (k * np.eye(k) - 1) * (1 - ties / (k**3 - k))
    values, vectors = np.linalg.eigh(covariance)
    free = values > 1e-9 * max(float(values[-1]), 1e-12)
    if values[-1] <= 1e-12:
        return None
    root = vectors[:, free] / np.sqrt(values[free])
    statistic = float(((total @ root) ** 2).sum())
    freedom = int(free.sum())
    return FriedmanTest(
        name=_name([set(row) for _, row in rows], n_lots=len(lots)),
        statistic=statistic,
        degrees_of_freedom=freedom,
        p=_permutation_p(blocks, root=root, statistic=statistic)
        if len(rows) <= MOST_PERMUTED_TASTERS
        else float(chdtrc(freedom, statistic)),
        tasters=len(rows),
        lots=len(lots),
    )


def _permutation_p(blocks: Sequence[tuple[list[int], FloatArray]], *, root: FloatArray, statistic: float) -> float:
    """Return the share of random orders, each taster's own ranks shuffled, with so large a statistic.

    The observed order is one of them, so the share is never 0 (Phipson and Smyth 2010, Statistical Applications in
    Genetics and Molecular Biology 9:39). The same table gives the same share.
    """
    rng = np.random.default_rng(8587)
    totals = np.zeros((PERMUTATIONS - 1, len(root)))
    for at, scaled in blocks:
        totals[:, at] += rng.permuted(np.tile(scaled, (PERMUTATIONS - 1, 1)), axis=1)
    statistics = ((totals @ root) ** 2).sum(axis=1)
    return float(1 + (statistics >= statistic - 1e-9).sum()) / PERMUTATIONS


def rank_sums(table: ScoreTable) -> dict[str, float]:
    """Return each lot's sum of ranks over the tasters of a full table; the lowest score has rank 1.

    Raises
    ------
    RankingError
        Empty, or a taster has not tasted every lot.
    """
    lots = _lots_of_full(table)
    ranks = np.array([_ranked([row[lot] for lot in lots])[0] for row in table.values()])
    return dict(zip(lots, ranks.sum(axis=0).tolist(), strict=True))


def rank_sum_difference(*, tasters: int, lots: int, alpha: float = 0.05) -> float:
    """Return by how much two rank sums of a full table must differ to be told apart (ISO 8587).

    The normal approximation, each pair at ``alpha``; to be used after Friedman's test has told some lots apart.

    Examples
    --------
    >>> round(rank_sum_difference(tasters=8, lots=5), 2)
    12.4
    """
    if tasters < 1 or lots < 2 or not 0 < alpha < 1:
        raise RankingError("at least one taster and two lots are needed, and alpha between 0 and 1")
    return -float(ndtri(alpha / 2)) * sqrt(tasters * lots * (lots + 1) / 6)


def page_test(table: ScoreTable, *, expected_order: Sequence[str]) -> PageTest | None:
    """Return Page's test that lots come in the order expected.

    Parameters
    ----------
    table : Mapping[str, Mapping[str, float]]
        Scores by taster and lot. Tasters who have not tasted every lot of the order are left out.
    expected_order : Sequence[str]
        Lots, the one expected to score highest first.

    Returns
    -------
    PageTest or None
        None for fewer than three lots or two tasters.

    Raises
    ------
    RankingError
        A lot stands twice in the order.
    """
    order = list(expected_order)[::-1]
    if len(set(order)) < len(order):
        raise RankingError("a lot stands twice in the expected order")
    rows = [[row[lot] for lot in order] for _, row in sorted(table.items()) if all(lot in row for lot in order)]
    if len(order) < 3 or len(rows) < 2:
        return None
    scores: FloatArray = np.asarray(rows, dtype=np.float64)
    exact = len(order) <= MOST_EXACT_LOTS and len(rows) <= MOST_EXACT_TASTERS
    result = scipy.stats.page_trend_test(scores, method="exact" if exact else "asymptotic")
    return PageTest(
        statistic=float(result.statistic), p=float(result.pvalue), tasters=len(rows), lots=tuple(expected_order)
    )


def _ranked(scores: Sequence[float]) -> tuple[FloatArray, float]:
    """Return the ranks and the sum of t^3 - t over groups of t equal scores."""
    counts = np.unique(np.asarray(scores), return_counts=True)[1].astype(np.float64)
    return np.asarray(scipy.stats.rankdata(scores), dtype=np.float64), float((counts**3 - counts).sum())


def _lots_of_full(table: ScoreTable) -> list[str]:
    lots = sorted({lot for row in table.values() for lot in row})
    if len(lots) < 2 or any(len(row) < len(lots) for row in table.values()):
        raise RankingError("every taster must have tasted the same two or more lots")
    return lots


def _name(blocks: Sequence[set[str]], *, n_lots: int) -> str:
    if all(len(block) == n_lots for block in blocks):
        return FRIEDMAN
    lots = sorted(set.union(*blocks))
    together = {sum(lot in block and other in block for block in blocks) for lot, other in combinations(lots, 2)}
    often = {sum(lot in block for block in blocks) for lot in lots}
    sizes = {len(block) for block in blocks}
    return DURBIN if len(together) == len(often) == len(sizes) == 1 else SKILLINGS_MACK
