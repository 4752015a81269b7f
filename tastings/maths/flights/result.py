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
    """Standard deviations of what makes scores differ; None where these cups cannot tell. [points; of gain, none].

    Parameters
    ----------
    lots_sd : Estimate
        Between lots.
    shift_sd, gain_sd : Estimate or None
        Between tasters' levels and between their gains; None for one taster.
    sitting_sd : Estimate or None
        Between sittings of one taster; None when nobody sat twice.
    taste_sd : Estimate or None
        Of a taster's own taste for a lot; None without a lot tasted twice by one taster.
    noise_sd : Estimate
        What is left in a usual taster's score; with the taste in it when that is None.
    """

    lots_sd: Estimate
    shift_sd: Estimate | None
    gain_sd: Estimate | None
    sitting_sd: Estimate | None
    taste_sd: Estimate | None
    noise_sd: Estimate


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
    """What the scores of a flight say by one measure.

    Parameters
    ----------
    standings : tuple[Standing, ...]
        Of the lots that may be chosen, the highest adjusted mean first; empty without a cup.
    controls : tuple[Standing, ...]
        Of those that may not, the same way.
    settled : bool
        The leader's probability of being best is at least ``settled_at``, and there is another lot.
    settled_at : float
        :data:`SETTLED`.
    expected_loss : float or None
        Expected loss of choosing the leader now instead of the best lot. [points]
    next : tuple[FurtherCups, ...]
        Further cups by what they would bring, the whole team's first.
    spreads : Spreads or None
        Variance components as standard deviations; None without a cup.
    tasters : tuple[TasterEffect, ...]
        In the order of their names.
    carry_over : Estimate or None
        Share of the previous lot's difference from the level that is still in the score; below 0 where a good cup
        makes the next one look worse. None when no cup followed another.
    position, first_cup : Estimate or None
        Change from each cup to the next, and what the first cup gets beside that; None for single cups. [points]
    repeatability_sd : float or None
        Of hidden duplicates; None without. [points]
    friedman : FriedmanTest or None
        Whether tasters rank the lots alike.
    kendall_w : float or None
        Concordance of the tasters who have tasted every lot; None for fewer than two.
    rank_sums : Mapping[str, float] or None
        ISO 8587's, of a full table.
    rank_sum_difference : float or None
        By how much two of them must differ.
    page : PageTest or None
        When an order was expected and at least two tasters have tasted all of it.
    least_significant_difference : float or None
        Of two lots' means by the mixed model with fixed lots, sittings as random blocks; a typical pair's. [points]
    differ : tuple[tuple[str, str], ...]
        Pairs told apart by it, the better first, each pair at its own least difference; none unless ``friedman`` is
        below ``alpha``, as ISO 8587 has it.
    alpha : float
        Of these tests.
    """

    standings: tuple[Standing, ...]
    controls: tuple[Standing, ...]
    settled: bool
    settled_at: float
    expected_loss: float | None
    next: tuple[FurtherCups, ...]
    spreads: Spreads | None
    tasters: tuple[TasterEffect, ...]
    carry_over: Estimate | None
    position: Estimate | None
    first_cup: Estimate | None
    repeatability_sd: float | None
    friedman: FriedmanTest | None
    kendall_w: float | None
    rank_sums: Mapping[str, float] | None
    rank_sum_difference: float | None
    page: PageTest | None
    least_significant_difference: float | None
    differ: tuple[tuple[str, str], ...]
    alpha: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureResult(FlightResult):
    """The result of one measure, with what lots cost.

    Parameters
    ----------
    measure : str
        ``liking``, or ``weighted`` for the weighted score.
    scale : float
        Its highest score. [points]
    currency : str or None
        Of the prices; None without a price.
    worth : tuple[Worth, ...]
        Value against price, in the order of the standings.
    """

    measure: Literal["liking", "weighted"]
    scale: float
    currency: str | None
    worth: tuple[Worth, ...]


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
