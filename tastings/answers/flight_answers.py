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
    raw_mean: float | None
    p_best: float
    p_top_three: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FurtherTasting:
    """One more sitting, and what it is expected to bring."""

    lots: list[UUID]
    times: int
    tasters: list[UUID]
    cups: int
    gain: float = field(metadata=help_text("points that the lot chosen then is expected to be better"))
    p_right: float
    gain_p_right: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightTaster:
    """How one taster used the scale."""

    taster: UUID
    cups: int
    shift: Estimate = field(metadata=help_text("points above the team"))
    gain: Estimate = field(metadata=help_text("share of a difference between lots that shows"))
    noise: Estimate = field(metadata=help_text("what is left in the scores, points"))
    repeatability_sd: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedOrderTest:
    """Page's test of the order that was expected."""

    statistic: float
    p: float
    tasters: int
    lots: list[UUID]


@dataclass(frozen=True, slots=True, kw_only=True)
class LotValue:
    """One lot between what it is worth and what it costs."""

    lot: UUID
    price: float | None = field(metadata=help_text("per kg"))
    mean: float
    on_frontier: bool | None = field(metadata=help_text("no other lot is as good and as cheap"))
    p_on_frontier: float | None
    beaten_by: UUID | None


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightMeasure:
    """The answer for one measure: a sentence, then its figures."""

    measure: Literal["liking", "weighted"]
    scale: float = field(metadata=help_text("highest score"))
    sentence: str
    standings: list[FlightStanding] = field(metadata=help_text("the best first"))
    controls: list[FlightStanding] = field(metadata=help_text("the known reference, which cannot be chosen"))
    settled: bool
    settled_at: float = field(metadata=help_text("probability of being best from which on it is"))
    expected_loss: float | None = field(metadata=help_text("what choosing the leader now gives away, points"))
    next: list[FurtherTasting] = field(metadata=help_text("further sittings by what they would bring"))
    spreads: Spreads | None
    tasters: list[FlightTaster]
    carry_over: Estimate | None
    position: Estimate | None
    first_cup: Estimate | None
    repeatability_sd: float | None = field(metadata=help_text("of hidden duplicates, points"))
    friedman: FriedmanTest | None
    kendall_w: float | None
    rank_sums: dict[str, float] | None
    rank_sum_difference: float | None = field(metadata=help_text("by which two rank sums must differ, ISO 8587"))
    page: ExpectedOrderTest | None
    least_significant_difference: float | None = field(metadata=help_text("points"))
    differ: list[list[UUID]] = field(metadata=help_text("pairs told apart, the better first"))
    alpha: float
    currency: str | None
    worth: list[LotValue]


@dataclass(frozen=True, slots=True, kw_only=True)
class UncountedSession:
    """A session that does not count."""

    session: UUID
    reason: Literal["private", "no_liking", "factors_missing", "same_cup"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LateScore:
    """A score that arrived, or was changed, after the reveal: it does not count unless it is admitted. [points]."""

    session: UUID
    taster: UUID
    lot: UUID
    revision: int = field(metadata=help_text("of the score, which who admits it sends along"))
    arrived_at: datetime = field(metadata=help_text("by the server's clock"))
    liking: float | None
    weighted: float | None
    counted_liking: float | None = field(metadata=help_text("what counts instead"))
    counted_weighted: float | None
    admissible: bool = field(metadata=help_text("false if another than the session's taster wrote it"))


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightAnswer:
    """The answer of a revealed flight."""

    flight: UUID
    stale: bool = field(metadata=help_text("true while a worker has not got to what is known by now"))
    answered_at: datetime | None
    failure: str | None
    measures: list[FlightMeasure]
    left_out: list[UncountedSession]
    late: list[LateScore] = field(metadata=help_text("what a buyer or owner may admit"))


def measure_of(result: MeasureResult, *, names: Mapping[str, str]) -> FlightMeasure:
    """Return a measure's figures with their sentence; ``names`` are those of lots and tasters, by id."""
    sentence = result_sentences(result, names=names)
    return msgspec.convert({**msgspec.to_builtins(result), "sentence": sentence}, FlightMeasure)


def left_out_of(figures: FlightFigures) -> list[UncountedSession]:
    """Return the sessions that do not count."""
    return msgspec.convert(msgspec.to_builtins(figures.left_out), list[UncountedSession])
