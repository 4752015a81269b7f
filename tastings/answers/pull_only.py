"""What a phone pulls beside its records and never pushes: the fields of each type."""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal
from uuid import UUID

from tastings.answers.flights import Protocol, State
from tastings.answers.help_text import help_text

RoleName = Literal["owner", "buyer", "taster", "viewer"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PulledPhoto:
    """What is known of a photo."""

    session: UUID | None
    lot: UUID | None
    infusion: UUID | None
    of: str
    state: Literal["waiting", "kept", "refused"] = field(
        metadata=help_text("`waiting`: not all of it has come, or a worker still looks at it")
    )
    reason: str | None = field(metadata=help_text("why it was refused, by code"))
    taken_at: datetime | None
    width: int | None = field(metadata=help_text("pixels, upright"))
    height: int | None
    image: str | None = field(metadata=help_text("address of its bytes on this server, once it is `kept`"))
    thumbnail: str | None = field(metadata=help_text("the same of at most 320 pixels a side"))
    by: UUID
    created_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class PulledCup:
    """One coded cup."""

    id: UUID = field(metadata=help_text("goes into a session's `flight_cup`"))
    code: int = field(metadata=help_text("", min_value=100, max_value=999))
    taster: UUID
    sitting: int
    position: int = field(metadata=help_text("in the sitting, 1 is the first"))
    lot: UUID | None = field(metadata=help_text("null before the reveal"))


@dataclass(frozen=True, slots=True, kw_only=True)
class PulledFlight:
    """A flight as the member may see it."""

    name: str
    state: State
    protocol: Protocol
    infusions: int | None
    remarks: str | None
    lots: list[UUID]
    tasters: list[UUID]
    pourers: list[UUID]
    reference: UUID | None
    cups: list[PulledCup] = field(
        metadata=help_text("the member's own in the order of serving; everyone's after the reveal")
    )
    by: UUID
    created_at: datetime
    revealed_at: datetime | None
    revealed_by: UUID | None
    reveal_reason: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PulledMember:
    """A member, under the id of the login; who left is deleted."""

    name: str
    username: str
    role: RoleName
    shop: UUID | None
    joined_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class PulledShop:
    """One of the team's shops."""

    name: str
    usual_pot: UUID | None = field(metadata=help_text("the pot that its guides and cards are for"))


PULL_ONLY_FIELDS: dict[str, type] = {
    "shop": PulledShop,
    "member": PulledMember,
    "flight": PulledFlight,
    "photo": PulledPhoto,
}
