"""A blind flight as the API shows it to a member, and the plan that who pours gets."""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal
from uuid import UUID

from msgspec import UNSET, UnsetType

from tastings.answers.help_text import help_text

State = Literal["set_up", "tasting", "revealed", "decided", "called_off"]
Protocol = Literal["covered_bowl", "standard_bowl", "small_pot"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ServingPlanQuality:
    """How good a serving plan is; not which cup holds what."""

    cups: int
    kept: int = field(metadata=help_text("tasted before this plan was made"))
    efficiency: float = field(metadata=help_text("of comparing two lots, against the same cups in complete sittings"))
    bound: float = field(metadata=help_text("the most that any plan of this size can reach"))
    connected: bool = field(metadata=help_text("whether every lot can be compared with every other"))
    position_spread: int = field(metadata=help_text("0 or 1: every lot stands equally often at every place"))
    carry_over_spread: int = field(metadata=help_text("0 or 1: every lot follows every other equally often"))


@dataclass(frozen=True, slots=True, kw_only=True)
class ServingPlan:
    """How far the plan is."""

    state: Literal["making", "made", "failed"]
    version: int = field(metadata=help_text("counts up with each new plan; printed on its sheets"))
    progress: float = field(metadata=help_text("of the plan being made, 0 to 1"))
    failure: str | None
    quality: ServingPlanQuality | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ShopProgress:
    """Cups of one shop's tasters."""

    shop: UUID | None
    planned: int
    tasted: int


@dataclass(frozen=True, slots=True, kw_only=True)
class TasterProgress:
    """Cups of one taster."""

    taster: UUID
    planned: int
    tasted: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightProgress:
    """How many cups are planned and tasted; not what is in them."""

    planned: int
    tasted: int
    shops: list[ShopProgress]
    tasters: list[TasterProgress]


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightCup:
    """One coded cup."""

    id: UUID = field(metadata=help_text("goes into a session's `flight_cup`"))
    code: int = field(metadata=help_text("", min_value=100, max_value=999))
    taster: UUID
    sitting: int
    position: int = field(metadata=help_text("in the sitting, 1 is the first"))
    tasted: bool
    lot: UUID | None = field(metadata=help_text("null before the reveal"))


@dataclass(frozen=True, slots=True, kw_only=True)
class ChosenLot:
    """A candidate that was chosen, and the bought lot it became. What was not given is left out."""

    lot: UUID
    bought: UUID
    quantity_g: int | float | UnsetType | None = UNSET
    price_per_kg: int | float | UnsetType | None = UNSET
    currency: str | UnsetType | None = UNSET


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightDecision:
    """What was decided, and why."""

    reason: str
    chosen: list[ChosenLot]
    at: datetime
    by: UUID


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightItem:
    """A flight: its design, how far it is, and the cups that the caller may see."""

    id: UUID
    name: str
    state: State
    protocol: Protocol
    infusions: int | None
    cups_per_sitting: int
    sittings: int
    repeats: int
    remarks: str | None
    lots: list[UUID]
    tasters: list[UUID]
    pourers: list[UUID]
    reference: UUID | None
    expected_order: list[UUID]
    weights_for: str | None
    weight_dry_leaf_pct: float | None
    weight_liquor_colour_pct: float | None
    weight_aroma_pct: float | None
    weight_taste_pct: float | None
    weight_spent_leaf_pct: float | None
    plan: ServingPlan
    progress: FlightProgress
    cups: list[FlightCup] = field(metadata=help_text("the caller's own; everyone's after the reveal"))
    by: UUID
    created_at: datetime
    revealed_at: datetime | None
    revealed_by: UUID | None
    reveal_reason: str | None = field(metadata=help_text("why it was revealed before every cup was tasted"))
    decision: FlightDecision | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Pour:
    """One cup as who pours needs it."""

    taster: str
    sitting: int
    position: int
    code: int
    lot: UUID
    lot_name: str
    tasted: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PouringPlan:
    """What to pour for whom, in the order of serving."""

    flight: UUID
    version: int
    pours: list[Pour]
