"""What the serving plan of a flight would be like, for the person who sets it up."""

from collections.abc import Mapping
from dataclasses import dataclass
from uuid import UUID

from tastings.wording.plan_failures import PlanFailure


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanPreview:
    """What a plan would be like."""

    cups_by_taster: Mapping[UUID, int]  # how many cups each taster would get; empty where there is no plan
    # fewest, most: cups of the lot that is poured least and most often; 0 when it is not planned beforehand
    fewest: int = 0
    most: int = 0
    # efficiency, bound: as of `tastings.maths.flights.serving.Plan`
    efficiency: float = 0.0
    bound: float = 0.0
    connected: bool = True  # whether every lot could be compared with every other
    position_spread: int = 0
    failure: PlanFailure | None = None  # why there would be no plan
