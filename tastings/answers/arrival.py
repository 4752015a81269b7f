"""The answer of ``GET /lots/{id}/arrival-check``."""

from dataclasses import dataclass
from typing import Literal
from uuid import UUID

from tastings.answers.copying import answer_from
from tastings.answers.triangles import TriangleTest, triangle_answer
from tastings.maths.comparison.arrival import ALPHA, NOTICEABLE
from tastings.maths.comparison.side_by_side import FIRST_INFUSIONS
from tastings.maths.curve.steep_count import LEVEL
from tastings.queries.arrivals import LotArrival
from tastings.wording import arrival as words


@dataclass(frozen=True, slots=True)
class ArrivalSessions:
    """How many sessions of each."""

    sample: int
    arrived: int


@dataclass(frozen=True, slots=True)
class ArrivalDescriptor:
    """One descriptor of the arrived lot against the sample."""

    descriptor: str
    sample: float
    arrived: float
    difference: float
    low: float
    high: float
    p: float
    p_adjusted: float
    different: bool
    detectable: float
    within_noticeable: bool


@dataclass(frozen=True, slots=True)
class ArrivalAnswer:
    """Whether an arrived lot is the tea of its sample."""

    lot: UUID
    sample: UUID
    verdict: Literal["same", "different", "cannot_tell"]
    reason: str
    alpha: float
    noticeable: float
    level: float
    first_infusions: int
    sessions: ArrivalSessions
    shared_tasters: int
    descriptors: tuple[ArrivalDescriptor, ...]
    not_compared: tuple[str, ...]
    next: str
    triangle_tests: tuple[TriangleTest, ...]


@dataclass(frozen=True, slots=True)
class ArrivalWithoutSample:
    """A lot that names no sample."""

    lot: UUID
    sample: None
    verdict: Literal["cannot_tell"]
    reason: str
    triangle_tests: tuple[TriangleTest, ...]


def arrival_answer(arrival: LotArrival) -> ArrivalAnswer | ArrivalWithoutSample:
    """Return the answer, its sentences in the language that is active."""
    check = arrival.check
    if arrival.sample is None or check is None:
        return ArrivalWithoutSample(arrival.lot, None, "cannot_tell", words.no_sample(), ())
    return answer_from(
        ArrivalAnswer,
        check,
        lot=arrival.lot,
        sample=arrival.sample,
        reason=words.reason(check),
        alpha=ALPHA,
        noticeable=NOTICEABLE,
        level=LEVEL,
        first_infusions=FIRST_INFUSIONS,
        sessions=ArrivalSessions(check.sample_sessions, check.arrived_sessions),
        descriptors=tuple(
            answer_from(ArrivalDescriptor, item, within_noticeable=item.within) for item in check.compared
        ),
        next=words.next_tasting(check),
        triangle_tests=tuple(triangle_answer(test) for test in arrival.triangle_tests),
    )
