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

    cups: int = field(metadata=help_text("how many the plan has"))
    kept: int = field(metadata=help_text("tasted before this plan was made"))
    efficiency: float = field(metadata=help_text("of comparing two lots, against the same cups in complete sittings"))
    bound: float = field(metadata=help_text("the most that any plan of this size can reach"))
    connected: bool = field(metadata=help_text("whether every lot can be compared with every other"))
    position_spread: int = field(metadata=help_text("0 or 1: every lot stands equally often at every place"))
    carry_over_spread: int = field(metadata=help_text("0 or 1: every lot follows every other equally often"))


@dataclass(frozen=True, slots=True, kw_only=True)
class ServingPlan:
    """How far the plan is."""

    state: Literal["making", "made", "failed"] = field(metadata=help_text("how far it is"))
    version: int = field(metadata=help_text("counts up with each new plan; printed on its sheets"))
    progress: float = field(metadata=help_text("of the plan being made, 0 to 1"))
    failure: str | None = field(metadata=help_text("why it could not be made, in words; null unless `failed`"))
    quality: ServingPlanQuality | None = field(metadata=help_text("how good it is; null while there is none"))


@dataclass(frozen=True, slots=True, kw_only=True)
class ShopProgress:
    """Cups of one shop's tasters."""

    shop: UUID | None = field(metadata=help_text("id of the shop; null for tasters of none"))
    planned: int = field(metadata=help_text("cups to taste"))
    tasted: int = field(metadata=help_text("cups tasted"))


@dataclass(frozen=True, slots=True, kw_only=True)
class TasterProgress:
    """Cups of one taster."""

    taster: UUID
    planned: int = field(metadata=help_text("cups to taste"))
    tasted: int = field(metadata=help_text("cups tasted"))


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightProgress:
    """How many cups are planned and tasted; not what is in them."""

    planned: int = field(metadata=help_text("cups to taste"))
    tasted: int = field(metadata=help_text("cups tasted"))
    shops: list[ShopProgress] = field(metadata=help_text("by the shop of the taster"))
    tasters: list[TasterProgress] = field(metadata=help_text("by taster"))


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightCup:
    """One coded cup."""

    id: UUID = field(metadata=help_text("goes into a session's `flight_cup`"))
    code: int = field(metadata=help_text("three digits that stand for the lot", min_value=100, max_value=999))
    taster: UUID
    sitting: int
    position: int = field(metadata=help_text("in the sitting, 1 is the first"))
    tasted: bool = field(metadata=help_text("whether there is a session of it"))
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

    reason: str = field(metadata=help_text("why, in the words of who decided"))
    chosen: list[ChosenLot] = field(metadata=help_text("the lots that were bought"))
    at: datetime = field(metadata=help_text("when it was decided"))
    by: UUID = field(metadata=help_text("login of who decided"))


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightItem:
    """A flight: its design, how far it is, and the cups that the caller may see."""

    id: UUID = field(metadata=help_text("of the flight"))
    name: str = field(metadata=help_text("what it is called"))
    state: State = field(metadata=help_text("how far it is"))
    protocol: Protocol
    infusions: int | None = field(metadata=help_text("of a small pot; null for a bowl"))
    cups_per_sitting: int = field(metadata=help_text("cups that one taster has at a time"))
    sittings: int = field(metadata=help_text("of each taster"))
    repeats: int = field(metadata=help_text("hidden duplicates for each taster"))
    remarks: str | None
    lots: list[UUID] = field(metadata=help_text("candidates"))
    tasters: list[UUID] = field(metadata=help_text("logins that taste"))
    pourers: list[UUID]
    reference: UUID | None
    expected_order: list[UUID]
    weights_for: str | None = field(metadata=help_text("tea class whose preset the weights are; null for none"))
    weight_dry_leaf_pct: float | None = field(
        metadata=help_text("weight of the dry leaf, %; null when cups are judged by liking alone")
    )
    weight_liquor_colour_pct: float | None = field(
        metadata=help_text("weight of the liquor's colour, %; null as above")
    )
    weight_aroma_pct: float | None = field(metadata=help_text("weight of the aroma, %; null as above"))
    weight_taste_pct: float | None = field(metadata=help_text("weight of the taste, %; null as above"))
    weight_spent_leaf_pct: float | None = field(metadata=help_text("weight of the spent leaf, %; null as above"))
    plan: ServingPlan = field(metadata=help_text("how far the serving plan is"))
    progress: FlightProgress = field(metadata=help_text("cups planned and tasted"))
    cups: list[FlightCup] = field(metadata=help_text("the caller's own; everyone's after the reveal"))
    by: UUID
    created_at: datetime
    revealed_at: datetime | None
    revealed_by: UUID | None
    reveal_reason: str | None = field(metadata=help_text("why it was revealed before every cup was tasted"))
    decision: FlightDecision | None = field(metadata=help_text("what was bought and why; null before"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Pour:
    """One cup as who pours needs it."""

    taster: str = field(metadata=help_text("name of the taster"))
    sitting: int
    position: int = field(metadata=help_text("in the sitting, 1 is the first"))
    code: int
    lot: UUID
    lot_name: str = field(metadata=help_text("what it is called"))
    tasted: bool = field(metadata=help_text("whether there is a session of it"))


@dataclass(frozen=True, slots=True, kw_only=True)
class PouringPlan:
    """What to pour for whom, in the order of serving."""

    flight: UUID = field(metadata=help_text("id of the flight"))
    version: int = field(metadata=help_text("of the plan; printed on its sheets"))
    pours: list[Pour] = field(metadata=help_text("in the order of serving"))
