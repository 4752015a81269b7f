"""The answer of ``GET /lots/{id}/readiness``."""

import datetime
from dataclasses import dataclass, field
from typing import Literal
from uuid import UUID

from tastings.answers.copying import answer_from
from tastings.answers.help_text import help_text
from tastings.maths.curve.steep_count import LEVEL
from tastings.maths.roast.fading import Trend
from tastings.maths.roast.readiness import Readiness, day_on
from tastings.maths.roast.readiness import RoastPoint as Point
from tastings.wording import readiness as words
from tastings.wording.left_out import left_out_reason


@dataclass(frozen=True, slots=True)
class ExpectedDay:
    """When it is expected to be ready: median and central interval."""

    date: datetime.date | None = field(
        metadata=help_text("median; null when it is not known well enough or later than two years")
    )
    low: datetime.date | None = field(metadata=help_text("lower end of the interval"))
    high: datetime.date | None = field(metadata=help_text("upper end of the interval"))
    level: float = field(metadata=help_text("of the interval"))


@dataclass(frozen=True, slots=True)
class RoastPoint:
    """The roast on one day, with its central 80 %. [points, 0 to 10]."""

    day: int = field(metadata=help_text("since the roast"))
    date: datetime.date = field(metadata=help_text("the same as a date"))
    mean: float = field(metadata=help_text("mean roast, points, 0 to 10"))
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class RoastTasting:
    """The roast in one session."""

    session: str
    day: int = field(metadata=help_text("since the roast"))
    date: datetime.date = field(metadata=help_text("the same as a date"))
    mean: float = field(metadata=help_text("roast in this session, points, 0 to 10"))
    sd: float = field(metadata=help_text("standard deviation of that, points"))


@dataclass(frozen=True, slots=True)
class LeftOutSession:
    """A session that is not used, and why."""

    session: str
    reason: str = field(metadata=help_text("why it is not used, in words"))


@dataclass(frozen=True, slots=True)
class ReadinessOfLot:
    """Whether a roasted lot has rested enough."""

    lot: UUID
    verdict: Literal["ready", "resting", "cannot_tell"] = field(metadata=help_text("whether it is ready today"))
    reason: str = field(metadata=help_text("why, in words"))
    level: float = field(metadata=help_text("roast that it should be under, points, 0 to 10"))
    roasted_on: datetime.date = field(metadata=help_text("day of the roast"))
    probability: float | None = field(metadata=help_text("that it is ready today: both of the next two"))
    under: float | None = field(metadata=help_text("probability that the roast is under the level today"))
    rested: float | None = field(
        metadata=help_text("probability that it is liked as much as it is going to be; null while that is not known")
    )
    expected: ExpectedDay = field(metadata=help_text("when it is expected to be ready"))
    today: RoastPoint | None = field(metadata=help_text("the roast today; null when nothing was tasted"))
    curve: tuple[RoastPoint, ...] = field(
        metadata=help_text("the roast by day, up to two months after today or the last tasting")
    )
    tastings: tuple[RoastTasting, ...] = field(metadata=help_text("the roast in each session"))
    liking: Trend | None = field(
        metadata=help_text("how the liking moves; null unless it was rated on days at least a week apart")
    )
    next: str = field(metadata=help_text("what further tasting would settle it, and when, in words"))
    left_out: tuple[LeftOutSession, ...] = field(metadata=help_text("sessions that are not used"))


@dataclass(frozen=True, slots=True)
class UnknownRoastDay:
    """A lot that does not say when it was roasted."""

    lot: UUID
    verdict: Literal["cannot_tell"] = field(metadata=help_text("not known without the day of the roast"))
    reason: str = field(metadata=help_text("why, in words"))
    level: float = field(metadata=help_text("roast that it should be under, points, 0 to 10"))
    roasted_on: None = field(metadata=help_text("null: it is not known"))


def readiness_answer(lot: UUID, readiness: Readiness | None, *, level: float) -> ReadinessOfLot | UnknownRoastDay:
    """Return the answer, its sentences in the language that is active; None is a lot without a day of roasting."""
    if readiness is None:
        return UnknownRoastDay(lot, "cannot_tell", words.no_roast_day(), level, None)
    return answer_from(
        ReadinessOfLot,
        readiness,
        lot=lot,
        reason=words.reason(readiness),
        expected=ExpectedDay(readiness.expected_on, readiness.low_on, readiness.high_on, LEVEL),
        today=None if readiness.today is None else _point(readiness.today, readiness=readiness),
        curve=tuple(_point(point, readiness=readiness) for point in readiness.curve),
        tastings=tuple(
            RoastTasting(cup.session, round(cup.day), _date(cup.day, readiness=readiness), cup.mean, cup.variance**0.5)
            for cup in readiness.values
        ),
        next=words.next_tasting(readiness.next, attribute=readiness.attribute),
        left_out=tuple(LeftOutSession(item.session, left_out_reason(item)) for item in readiness.left_out),
    )


def _point(point: Point, *, readiness: Readiness) -> RoastPoint:
    return answer_from(RoastPoint, point, date=_date(point.day, readiness=readiness))


def _date(day: float, *, readiness: Readiness) -> datetime.date:
    date = day_on(readiness.roasted_on, day)
    assert date is not None  # noqa: S101 - a day of a tasting or of the curve is finite
    return date
