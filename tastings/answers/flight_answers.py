"""The answer of ``GET /flights/{id}/answer``."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal
from uuid import UUID

import msgspec

from tastings.answers.help_text import help_text
from tastings.maths.flights.ranking import FriedmanTest
from tastings.maths.flights.result import FlightFigures, MeasureResult, Spreads
from tastings.maths.flights.standings import Estimate
from tastings.wording.flight_result import result_sentences


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightStanding:
    """Where one lot stands, adjusted for taster, position and the cup before. [points]."""

    lot: UUID
    cups: int = field(metadata=help_text("how many of it were tasted"))
    mean: float = field(metadata=help_text("adjusted for taster, position and the cup before"))
    low: float
    high: float = field(metadata=help_text("`low` to `high`: the central 80 %"))
    raw_mean: float | None = field(metadata=help_text("plain mean of its scores, points; null without a cup"))
    p_best: float = field(metadata=help_text("probability that no lot that may be chosen is better"))
    p_top_three: float = field(metadata=help_text("probability that at most two such lots are better"))


@dataclass(frozen=True, slots=True, kw_only=True)
class FurtherTasting:
    """One more sitting, and what it is expected to bring."""

    lots: list[UUID] = field(metadata=help_text("side by side, the likeliest to be best first"))
    times: int = field(metadata=help_text("how often each taster tastes each of them"))
    tasters: list[UUID] = field(metadata=help_text("by whom, each in a sitting of their own"))
    cups: int = field(metadata=help_text("of the sitting, all tasters together"))
    gain: float = field(metadata=help_text("points that the lot chosen then is expected to be better"))
    p_right: float = field(metadata=help_text("expected probability that the lot chosen then is the best"))
    gain_p_right: float = field(metadata=help_text("how much more that is than now"))


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightTaster:
    """How one taster used the scale."""

    taster: UUID
    cups: int = field(metadata=help_text("how many this taster scored"))
    shift: Estimate = field(metadata=help_text("points above the team"))
    gain: Estimate = field(metadata=help_text("share of a difference between lots that shows"))
    noise: Estimate = field(metadata=help_text("what is left in the scores, points"))
    repeatability_sd: float | None = field(
        metadata=help_text("of this taster's hidden duplicates, points; null without")
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedOrderTest:
    """Page's test of the order that was expected."""

    statistic: float = field(metadata=help_text("Page's L"))
    p: float = field(metadata=help_text("probability of so large an L by chance"))
    tasters: int = field(metadata=help_text("how many tasted all of the order"))
    lots: list[UUID] = field(metadata=help_text("the order expected, the best first"))


@dataclass(frozen=True, slots=True, kw_only=True)
class LotValue:
    """One lot between what it is worth and what it costs."""

    lot: UUID
    price: float | None = field(metadata=help_text("per kg"))
    mean: float = field(metadata=help_text("adjusted mean, points"))
    on_frontier: bool | None = field(metadata=help_text("no other lot is as good and as cheap"))
    p_on_frontier: float | None = field(
        metadata=help_text("probability of that, means being uncertain; null without a price")
    )
    beaten_by: UUID | None = field(
        metadata=help_text("the best of the lots that beat it on both; null on the frontier or without a price")
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightMeasure:
    """The answer for one measure: a sentence, then its figures."""

    measure: Literal["liking", "weighted"] = field(metadata=help_text("liking, or the weighted score"))
    scale: float = field(metadata=help_text("highest score"))
    sentence: str
    standings: list[FlightStanding] = field(metadata=help_text("the best first"))
    controls: list[FlightStanding] = field(metadata=help_text("the known reference, which cannot be chosen"))
    settled: bool = field(
        metadata=help_text(
            "whether the leader's probability of being best is at least `settled_at`, with another lot to choose"
        )
    )
    settled_at: float = field(metadata=help_text("probability of being best from which on it is"))
    expected_loss: float | None = field(metadata=help_text("what choosing the leader now gives away, points"))
    next: list[FurtherTasting] = field(metadata=help_text("further sittings by what they would bring"))
    spreads: Spreads | None = field(metadata=help_text("what makes scores differ; null without a cup"))
    tasters: list[FlightTaster] = field(metadata=help_text("how each used the scale"))
    carry_over: Estimate | None = field(
        metadata=help_text(
            "share of the cup before that is still in a score, below 0 for contrast; null when no cup followed another"
        )
    )
    position: Estimate | None = field(
        metadata=help_text("change from each cup to the next, points; null for single cups")
    )
    first_cup: Estimate | None = field(
        metadata=help_text("what the first cup of a sitting gets beside that, points; null for single cups")
    )
    repeatability_sd: float | None = field(metadata=help_text("of hidden duplicates, points"))
    friedman: FriedmanTest | None = field(
        metadata=help_text("whether tasters rank the lots alike; null when that cannot be tested")
    )
    kendall_w: float | None
    rank_sums: dict[str, float] | None = field(metadata=help_text("by lot, of a full table; else null"))
    rank_sum_difference: float | None = field(metadata=help_text("by which two rank sums must differ, ISO 8587"))
    page: ExpectedOrderTest | None = field(
        metadata=help_text("whether the order expected is found; null when none was expected or too few tasted it")
    )
    least_significant_difference: float | None = field(metadata=help_text("points"))
    differ: list[list[UUID]] = field(metadata=help_text("pairs told apart, the better first"))
    alpha: float
    currency: str | None
    worth: list[LotValue] = field(metadata=help_text("value against price, in the order of the standings"))


@dataclass(frozen=True, slots=True, kw_only=True)
class UncountedSession:
    """A session that does not count."""

    session: UUID
    reason: Literal["private", "no_liking", "factors_missing", "same_cup"] = field(
        metadata=help_text("why it does not count")
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class LateScore:
    """A score that arrived, or was changed, after the reveal: it does not count unless it is admitted. [points]."""

    session: UUID
    taster: UUID
    lot: UUID
    revision: int = field(metadata=help_text("of the score, which who admits it sends along"))
    arrived_at: datetime = field(metadata=help_text("by the server's clock"))
    liking: float | None = field(metadata=help_text("as it arrived"))
    weighted: float | None = field(metadata=help_text("as it arrived"))
    counted_liking: float | None = field(metadata=help_text("what counts instead"))
    counted_weighted: float | None = field(metadata=help_text("what counts instead"))
    admissible: bool = field(metadata=help_text("false if another than the session's taster wrote it"))


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightAnswer:
    """The answer of a revealed flight."""

    flight: UUID = field(metadata=help_text("id of the flight"))
    stale: bool = field(metadata=help_text("true while a worker has not got to what is known by now"))
    answered_at: datetime | None = field(metadata=help_text("when it was computed; null before"))
    failure: str | None = field(metadata=help_text("why the last attempt failed; null if it did not"))
    measures: list[FlightMeasure] = field(metadata=help_text("liking, and the weighted score of a flight with weights"))
    left_out: list[UncountedSession] = field(metadata=help_text("sessions that do not count"))
    late: list[LateScore] = field(metadata=help_text("what a buyer or owner may admit"))


def measure_of(result: MeasureResult, *, names: Mapping[str, str]) -> FlightMeasure:
    """Return a measure's figures with their sentence; ``names`` are those of lots and tasters, by id."""
    sentence = result_sentences(result, names=names)
    return msgspec.convert({**msgspec.to_builtins(result), "sentence": sentence}, FlightMeasure)


def left_out_of(figures: FlightFigures) -> list[UncountedSession]:
    """Return the sessions that do not count."""
    return msgspec.convert(msgspec.to_builtins(figures.left_out), list[UncountedSession])
