"""What the analysis of a blind flight finds, as figures."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from tastings.maths.flights.further_cups import FurtherCups
from tastings.maths.flights.ranking import FriedmanTest, PageTest
from tastings.maths.flights.standings import Estimate, Standing
from tastings.maths.flights.value import Worth

METHOD = 3
"""Version of the figures and their form: raised with either, so that stored answers are computed again."""
SETTLED = 0.8
"""Probability of being best at which a flight is settled: the odds of every interval here, four to
one. What is left over is shared by the lots close behind, so that a wrong choice then costs little as well."""


@dataclass(frozen=True, slots=True)
class Spreads:
    """Standard deviations of what makes scores differ; None where these cups cannot tell. [points; of gain, none]."""

    lots_sd: Estimate  # between lots
    # shift_sd, gain_sd: between tasters' levels and between their gains; None for one taster
    shift_sd: Estimate | None
    gain_sd: Estimate | None
    sitting_sd: Estimate | None  # between sittings of one taster; None when nobody sat twice
    taste_sd: Estimate | None  # of a taster's own taste for a lot; None without a lot tasted twice by one taster
    noise_sd: Estimate  # what is left in a usual taster's score; with the taste in it when that is None


@dataclass(frozen=True, slots=True)
class TasterEffect:
    """How one taster used the scale in this flight.

    ``shift`` is above the team's mean [points], ``gain`` the share of a difference between lots that the scores show,
    ``noise`` what is left in the scores [points], ``repeatability_sd`` that of hidden duplicates, None without.
    """

    taster: str
    cups: int
    shift: Estimate
    gain: Estimate
    noise: Estimate
    repeatability_sd: float | None


@dataclass(frozen=True, slots=True)
class FlightResult:
    """What the scores of a flight say by one measure."""

    # of the lots that may be chosen, the highest adjusted mean first; empty without a cup
    standings: tuple[Standing, ...]
    controls: tuple[Standing, ...]  # of those that may not, the same way
    settled: bool  # the leader's probability of being best is at least `settled_at`, and there is another lot
    settled_at: float  # `SETTLED`
    expected_loss: float | None  # expected loss of choosing the leader now instead of the best lot [points]
    next: tuple[FurtherCups, ...]  # further cups by what they would bring, the whole team's first
    spreads: Spreads | None  # variance components as standard deviations; None without a cup
    tasters: tuple[TasterEffect, ...]  # in the order of their names
    # Share of the previous lot's difference from the level that is still in the score; below 0 where a good cup makes
    # the next one look worse. None when no cup followed another.
    carry_over: Estimate | None
    # position, first_cup [points]: change from each cup to the next, and what the first cup gets beside that; None for
    # single cups
    position: Estimate | None
    first_cup: Estimate | None
    repeatability_sd: float | None  # of hidden duplicates; None without [points]
    friedman: FriedmanTest | None  # whether tasters rank the lots alike
    kendall_w: float | None  # concordance of the tasters who have tasted every lot; None for fewer than two
    rank_sums: Mapping[str, float] | None  # ISO 8587's, of a full table
    rank_sum_difference: float | None  # by how much two of them must differ
    page: PageTest | None  # when an order was expected and at least two tasters have tasted all of it
    # of two lots' means by the mixed model with fixed lots, sittings as random blocks; a typical pair's [points]
    least_significant_difference: float | None
    # pairs told apart by it, the better first, each pair at its own least difference; none unless `friedman` is below
    # `alpha`, as ISO 8587 has it
    differ: tuple[tuple[str, str], ...]
    alpha: float  # of these tests


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureResult(FlightResult):
    """The result of one measure, with what lots cost."""

    measure: Literal["liking", "weighted"]  # `liking`, or `weighted` for the weighted score
    scale: float  # its highest score [points]
    currency: str | None  # of the prices; None without a price
    worth: tuple[Worth, ...]  # value against price, in the order of the standings


@dataclass(frozen=True, slots=True)
class UncountedSession:
    """A session that does not count, and why."""

    session: str
    reason: Literal["private", "no_liking", "factors_missing", "same_cup"]


@dataclass(frozen=True, slots=True)
class FlightFigures:
    """All that is computed of a revealed flight and stored, and the :data:`METHOD` that computed it."""

    measures: tuple[MeasureResult, ...]
    left_out: tuple[UncountedSession, ...]
    method: int = METHOD
