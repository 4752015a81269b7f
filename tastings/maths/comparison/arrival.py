"""Whether the lot that arrived is the tea of the sample that it was bought on.

Descriptor by descriptor, the posterior of the mean of the first eight even-brew cups is drawn for sample and arrived
lot, with what tasters and sessions vary by, and the draws are subtracted, every one with every one. Many descriptors
make chance differences likely, so the probabilities are adjusted by Holm's step-down rule (Holm 1979, Scandinavian
Journal of Statistics 6:65-70): the chance of calling one tea two, whatever the number of descriptors, is 5 % at most.

Finding no difference does not show that there is none. "Same" needs every compared descriptor to lie within 1.5 points
with its central 90 % interval (two one-sided tests at 5 %); 1.5 points is what trained tasters' own repeats differ by:
8 to 20 % of the scale is their standard deviation in open replicate data (french_fries, R package reshape2). What
neither differs nor is known that well is "cannot tell", with how large a difference would have been seen.

In simulation (``python -m benchmarks.calibration``: six descriptors, leaf that the estimator does not assume, tasters
not calibrated) one tea was called two in 7 of 600 pairs, 1.2 %. A difference of 1.5 points in one descriptor was
found with one, three and six sessions a side by the same four tasters in 18, 42 and 84 % of 100 pairs, by four others
in 2, 19 and 26 %; one of 3 points in 43, 96, 99 and 34, 81, 98 %. The verdict "same" was
given for one tea in 6, 56 and 77 % and 0, 1 and 7 %, for teas 1.5 points apart in 1 % of 600.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil
from typing import Literal

import numpy as np
from scipy.special import ndtr, ndtri

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import Brew, TasterScale, form_of, validated_brews
from tastings.maths.brewing.even_brew import BOILING, EvenBrew
from tastings.maths.brewing.extraction import Grid, default_grid
from tastings.maths.comparison.side_by_side import FIRST_INFUSIONS, draw_sides
from tastings.maths.curve.evidence import PreparedSession, prepare_sessions
from tastings.maths.curve.profile import TAIL

Verdict = Literal["same", "different", "cannot_tell"]
ALPHA = 0.05
POWER = 0.8
NOTICEABLE = 1.5
LEAST_SD = 0.05


@dataclass(frozen=True, slots=True)
class Compared:
    """One descriptor of the arrived lot against the sample, means of the first eight even-brew cups."""

    descriptor: str
    # sample, arrived: means [points]
    sample: float
    arrived: float
    # difference, low, high: arrived less sample, with its central 80 % [points]
    difference: float
    low: float
    high: float
    # p, p_adjusted: two-sided probability of so large a difference by chance, alone and among all descriptors (Holm)
    p: float
    p_adjusted: float
    detectable: float  # the difference that would have been called one with probability 0.8 [points]
    within: bool  # whether it is known to lie within what is noticeable

    @property
    def different(self) -> bool:
        """Return whether sample and arrived lot differ in it."""
        return self.p_adjusted <= ALPHA


@dataclass(frozen=True, slots=True)
class ArrivalCheck:
    """Whether the arrived lot is the tea of its sample."""

    verdict: Verdict
    # sample_sessions, arrived_sessions, shared_tasters: what it rests on
    sample_sessions: int
    arrived_sessions: int
    shared_tasters: int
    compared: tuple[Compared, ...]  # in the order asked for
    not_compared: tuple[str, ...]  # descriptors that were not rated on both sides
    # how many sessions of each would settle it if they are the same; None when it is settled or nothing can be compared
    sessions_each: int | None

    @property
    def differing(self) -> tuple[Compared, ...]:
        """Return the descriptors that differ, the largest difference first."""
        return tuple(sorted((row for row in self.compared if row.different), key=lambda row: -abs(row.difference)))

    @property
    def least_known(self) -> Compared:
        """Return the descriptor in which a difference would be seen last; there must be one."""
        return max(self.compared, key=lambda row: row.detectable)


@dataclass(frozen=True, slots=True)
class _Subtracted:
    """Means of both sides and all differences of their draws [points]."""

    key: str
    sample: float
    arrived: float
    differences: FloatArray

    @property
    def sd(self) -> float:
        # Two descriptors rated 0 throughout do not differ, but half a step of the scale stays unseen.
        return max(float(self.differences.std()), LEAST_SD)

    def p(self) -> float:
        """Return the larger of the share of draws beyond 0 and the normal's: the draws thin out in the tail."""
        above = float((self.differences > 0).mean() + 0.5 * (self.differences == 0).mean())
        normal = float(ndtr(-abs(self.arrived - self.sample) / self.sd))
        return min(1.0, 2 * max(min(above, 1 - above), normal))


def check_arrival(
    sample: Sequence[Brew],
    arrived: Sequence[Brew],
    *,
    rated: Sequence[str],
    even_brew: EvenBrew = BOILING,
    scales: Mapping[str, Mapping[str, TasterScale]] | None = None,
) -> ArrivalCheck:
    """Compare an arrived lot with the sample it was bought on.

    Parameters
    ----------
    sample, arrived : Sequence[Brew]
        Sessions of each, in any order.
    rated : Sequence[str]
        Keys of the descriptors to compare.
    even_brew : EvenBrew, optional
        What the sessions of both are evened out to; that of oolong when left out.
    scales : Mapping, optional
        As in :func:`tastings.maths.curve.estimate.estimate_development`.

    Returns
    -------
    ArrivalCheck
        With a figure for each descriptor rated on both sides.

    Raises
    ------
    BrewError
        A number in a brew cannot be one.
    """
    grid = default_grid(form_of((*sample, *arrived)))
    sides = [prepare_sessions(validated_brews(brews), grid=grid, scales=scales or {})[0] for brews in (sample, arrived)]
    keys = list(dict.fromkeys(rated))
    rows = [row for key in keys if (row := _subtracted(key, sides, even_brew=even_brew, grid=grid)) is not None]
    adjusted = holm([row.p() for row in rows])
    compared = tuple(_compared(row, p_adjusted=p, among=len(rows)) for row, p in zip(rows, adjusted, strict=True))
    verdict = _verdict(compared)
    tasters = [{session.brew.taster for session in side} for side in sides]
    return ArrivalCheck(
        verdict=verdict,
        sample_sessions=len(sides[0]),
        arrived_sessions=len(sides[1]),
        shared_tasters=len(tasters[0] & tasters[1]),
        compared=compared,
        not_compared=tuple(key for key in keys if key not in {row.key for row in rows}),
        sessions_each=_sessions_each(verdict, rows, sides=sides),
    )


def holm(p: Sequence[float]) -> list[float]:
    """Return probabilities adjusted for their number by Holm's step-down rule, in the order given.

    Examples
    --------
    >>> [round(x, 3) for x in holm([0.01, 0.04, 0.03, 0.005])]
    [0.03, 0.06, 0.06, 0.02]
    """
    order = sorted(range(len(p)), key=lambda i: p[i])
    adjusted, largest = [0.0] * len(p), 0.0
    for place, index in enumerate(order):
        largest = max(largest, min(1.0, (len(p) - place) * p[index]))
        adjusted[index] = largest
    return adjusted


def _subtracted(
    key: str, sides: Sequence[Sequence[PreparedSession]], *, even_brew: EvenBrew, grid: Grid
) -> _Subtracted | None:
    both = draw_sides(sides[0], sides[1], key=key)
    if both is None:
        return None
    sample, arrived = both.means(even_brew.cups(grid, infusions=FIRST_INFUSIONS))
    return _Subtracted(
        key=key,
        sample=float(sample.mean()),
        arrived=float(arrived.mean()),
        differences=(arrived[:, None] - sample).ravel(),
    )


def _compared(row: _Subtracted, *, p_adjusted: float, among: int) -> Compared:
    low, high, lowest, highest = np.quantile(row.differences, (TAIL, 1 - TAIL, ALPHA, 1 - ALPHA)).tolist()
    return Compared(
        descriptor=row.key,
        sample=row.sample,
        arrived=row.arrived,
        difference=row.arrived - row.sample,
        low=low,
        high=high,
        p=row.p(),
        p_adjusted=p_adjusted,
        detectable=row.sd * float(ndtri(1 - ALPHA / 2 / among) + ndtri(POWER)),
        within=lowest > -NOTICEABLE and highest < NOTICEABLE,
    )


def _verdict(compared: Sequence[Compared]) -> Verdict:
    if not compared:
        return "cannot_tell"
    if any(row.different for row in compared):
        return "different"
    return "same" if all(row.within for row in compared) else "cannot_tell"


def _sessions_each(
    verdict: Verdict, rows: Sequence[_Subtracted], *, sides: Sequence[Sequence[PreparedSession]]
) -> int | None:
    """Return how many sessions of each would find equal lots the same in four of five cases."""
    if not rows or verdict != "cannot_tell":
        return None
    wanted_sd = NOTICEABLE / float(ndtri(1 - ALPHA) + ndtri(1 - (1 - POWER) / 2))
    sd = max(row.sd for row in rows)
    so_far = sum(1 / len(side) for side in sides)
    return max(ceil(2 / (so_far * (wanted_sd / sd) ** 2)), *(len(side) for side in sides))
