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

    session: UUID | None = field(metadata=help_text("id of the session; null for a photo of a lot"))
    lot: UUID | None = field(metadata=help_text("id of the lot; null for a photo of a session"))
    infusion: UUID | None = field(metadata=help_text("id of the infusion; null unless it is of one"))
    of: str = field(metadata=help_text("what it shows"))
    state: Literal["waiting", "kept", "refused"] = field(
        metadata=help_text("`waiting`: not all of it has come, or a worker still looks at it")
    )
    reason: str | None = field(metadata=help_text("why it was refused, by code"))
    taken_at: datetime | None = field(
        metadata=help_text("when it was taken, by the sender's clock; null when not known")
    )
    width: int | None = field(metadata=help_text("pixels, upright"))
    height: int | None = field(metadata=help_text("pixels, upright"))
    image: str | None = field(metadata=help_text("address of its bytes on this server, once it is `kept`"))
    thumbnail: str | None = field(metadata=help_text("the same of at most 320 pixels a side"))
    by: UUID
    created_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class PulledCup:
    """One coded cup."""

    id: UUID = field(metadata=help_text("goes into a session's `flight_cup`"))
    code: int = field(metadata=help_text("three digits that stand for the lot", min_value=100, max_value=999))
    taster: UUID = field(metadata=help_text("login of who is to taste it"))
    sitting: int
    position: int = field(metadata=help_text("in the sitting, 1 is the first"))
    lot: UUID | None = field(metadata=help_text("null before the reveal"))


@dataclass(frozen=True, slots=True, kw_only=True)
class PulledFlight:
    """A flight as the member may see it."""

    name: str = field(metadata=help_text("what it is called"))
    state: State = field(metadata=help_text("how far it is"))
    protocol: Protocol
    infusions: int | None = field(metadata=help_text("of a small pot; null for a bowl"))
    remarks: str | None
    lots: list[UUID] = field(metadata=help_text("candidates"))
    tasters: list[UUID] = field(metadata=help_text("logins that taste"))
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

    name: str = field(metadata=help_text("what people read"))
    username: str = field(metadata=help_text("name to sign in with"))
    role: RoleName = field(metadata=help_text("what the member may do"))
    shop: UUID | None = field(metadata=help_text("id of the shop; null for none"))
    joined_at: datetime = field(metadata=help_text("when the membership began"))


@dataclass(frozen=True, slots=True, kw_only=True)
class PulledShop:
    """One of the team's shops."""

    name: str = field(metadata=help_text("what it is called"))
    usual_pot: UUID | None = field(metadata=help_text("the pot that its guides and cards are for"))


PULL_ONLY_FIELDS: dict[str, type] = {
    "shop": PulledShop,
    "member": PulledMember,
    "flight": PulledFlight,
    "photo": PulledPhoto,
}
