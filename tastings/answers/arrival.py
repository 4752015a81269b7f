"""The answer of ``GET /lots/{id}/arrival-check``."""

from dataclasses import dataclass, field
from typing import Literal
from uuid import UUID

from tastings.answers.copying import answer_from
from tastings.answers.help_text import help_text
from tastings.answers.triangles import TriangleTest, triangle_answer
from tastings.maths.comparison.arrival import ALPHA, NOTICEABLE
from tastings.maths.comparison.side_by_side import FIRST_INFUSIONS
from tastings.maths.curve.steep_count import LEVEL
from tastings.queries.arrivals import LotArrival
from tastings.wording import arrival as words


@dataclass(frozen=True, slots=True)
class ArrivalSessions:
    """How many sessions of each."""

    sample: int = field(metadata=help_text("sessions of the sample"))
    arrived: int = field(metadata=help_text("sessions of the arrived lot"))


@dataclass(frozen=True, slots=True)
class ArrivalDescriptor:
    """One descriptor of the arrived lot against the sample."""

    descriptor: str
    sample: float = field(metadata=help_text("mean of the sample, points"))
    arrived: float = field(metadata=help_text("mean of the arrived lot, points"))
    difference: float = field(metadata=help_text("arrived less sample, points"))
    low: float
    high: float
    p: float = field(metadata=help_text("two-sided probability of so large a difference by chance"))
    p_adjusted: float = field(metadata=help_text("the same among all descriptors compared (Holm 1979)"))
    different: bool = field(metadata=help_text("whether `p_adjusted` is at most `alpha`"))
    detectable: float = field(
        metadata=help_text("the difference that would have been found with probability 0.8, points")
    )
    within_noticeable: bool = field(metadata=help_text("whether the difference is known to lie within `noticeable`"))


@dataclass(frozen=True, slots=True)
class ArrivalAnswer:
    """Whether an arrived lot is the tea of its sample."""

    lot: UUID
    sample: UUID = field(metadata=help_text("id of the lot that it was bought on"))
    verdict: Literal["same", "different", "cannot_tell"] = field(metadata=help_text("whether it is the same tea"))
    reason: str = field(metadata=help_text("why, in words"))
    alpha: float
    noticeable: float = field(metadata=help_text("a smaller difference is not noticed, points"))
    level: float
    first_infusions: int
    sessions: ArrivalSessions = field(metadata=help_text("how many of each"))
    shared_tasters: int
    descriptors: tuple[ArrivalDescriptor, ...] = field(metadata=help_text("those rated on both sides"))
    not_compared: tuple[str, ...] = field(metadata=help_text("keys of descriptors that were not rated on both sides"))
    next: str = field(metadata=help_text("what further tasting would settle it, in words"))
    triangle_tests: tuple[TriangleTest, ...] = field(metadata=help_text("of the two against each other"))


@dataclass(frozen=True, slots=True)
class ArrivalWithoutSample:
    """A lot that names no sample."""

    lot: UUID
    sample: None = field(metadata=help_text("null: it names none"))
    verdict: Literal["cannot_tell"] = field(metadata=help_text("nothing can be compared"))
    reason: str = field(metadata=help_text("why, in words"))
    triangle_tests: tuple[TriangleTest, ...] = field(metadata=help_text("none without a sample"))


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
