"""The answer of ``GET /lots/{id}/other-harvests``."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from uuid import UUID

from tastings.answers.copying import answer_from
from tastings.answers.help_text import help_text
from tastings.maths.comparison.side_by_side import FIRST_INFUSIONS
from tastings.queries.other_harvests import HarvestsOfProducer, OtherHarvest
from tastings.wording.harvests import harvest_difference


@dataclass(frozen=True, slots=True)
class HarvestDifference:
    """One descriptor in which two harvests differ beyond doubt."""

    descriptor: str
    difference: float = field(metadata=help_text("this lot less the other, points, mean of the first infusions"))
    low: float = field(metadata=help_text("central 80 %"))
    high: float = field(metadata=help_text("upper end of the central 80 %"))
    p_adjusted: float = field(metadata=help_text("among all descriptors compared (Holm 1979)"))


@dataclass(frozen=True, slots=True)
class HarvestAnswer:
    """Another harvest of the same producer and kind."""

    lot: UUID = field(metadata=help_text("id of the other lot"))
    name: str = field(metadata=help_text("of the other lot"))
    harvest_year: int = field(metadata=help_text("of the other lot"))
    harvest_season: str = field(metadata=help_text("of the other lot, in the team's words"))
    sessions: int = field(metadata=help_text("of the other lot"))
    shared_tasters: int
    differences: tuple[HarvestDifference, ...] = field(
        metadata=help_text("descriptors in which the two differ, the largest difference first")
    )
    sentence: str


@dataclass(frozen=True, slots=True)
class OtherHarvests:
    """A lot beside the other harvests of its producer, the latest first."""

    lot: UUID
    producer: str = field(metadata=help_text("empty when the lot names none; then there are no harvests"))
    first_infusions: int
    harvests: tuple[HarvestAnswer, ...] = field(metadata=help_text("the latest first"))


def other_harvests_answer(result: HarvestsOfProducer, *, labels: Mapping[str, str]) -> OtherHarvests:
    """Return the answer, its sentences in the language that is active; ``labels`` are the team's words by key."""
    return answer_from(
        OtherHarvests,
        result,
        first_infusions=FIRST_INFUSIONS,
        harvests=tuple(_harvest(harvest, labels) for harvest in result.harvests),
    )


def _harvest(other: OtherHarvest, labels: Mapping[str, str]) -> HarvestAnswer:
    return answer_from(
        HarvestAnswer,
        other,
        sessions=other.check.sample_sessions,
        shared_tasters=other.check.shared_tasters,
        differences=tuple(answer_from(HarvestDifference, each) for each in other.check.differing),
        sentence=harvest_difference(other.check, labels=labels),
    )
