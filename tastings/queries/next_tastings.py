"""The team's lots in the order in which they are best tasted next."""

from dataclasses import dataclass
from typing import TypedDict
from uuid import UUID

from django.db.models import F, Q

from lots.models import Lot
from tastings.figures import from_stored
from tastings.maths.curve.next_session import NextSession
from tastings.maths.planning.next_tastings import OpenLot, next_tastings
from tastings.models import Flight, FlightLot
from teams.models import Member

MOST = 10
RETIRED, SAMPLE = "retired", "sample"
_FIRST = NextSession(code="first_session")


class _Evidence(TypedDict):
    sessions: int


class _Row(TypedDict):
    id: UUID
    name: str
    status: str
    next: object
    seen: _Evidence | None


@dataclass(frozen=True, slots=True)
class PlannedTasting:
    """A lot to taste, and what one more session of it would settle."""

    lot: UUID
    name: str
    status: str
    sessions: int
    next: NextSession


@dataclass(frozen=True, slots=True)
class TastingPlan:
    """The first :data:`MOST` of the team's ``open_lots`` lots with an open question."""

    open_lots: int
    tastings: tuple[PlannedTasting, ...]


def tasting_plan(member: Member) -> TastingPlan:
    """Return what to taste next. Takes one query.

    Left out are retired lots, samples that were decided on, by a flight or by buying, and whatever is in a flight that
    runs: it is tasted blind, and nothing should be known of it before.
    """
    in_flights = FlightLot.objects.filter(team_id=member.team_id, out_at=None)
    running = in_flights.filter(flight__state__in=(Flight.State.SET_UP, Flight.State.TASTING))
    decided = in_flights.filter(flight__state=Flight.State.DECIDED)
    bought = Lot.objects.filter(team_id=member.team_id, removed=False, from_lot_id__isnull=False)
    is_decided = Q(id__in=decided.values("lot_id")) | Q(id__in=bought.values("from_lot_id"))
    rows = (
        Lot.objects.filter(team_id=member.team_id, removed=False)
        .exclude(status=RETIRED)
        .exclude(id__in=running.values("lot_id"))
        .exclude(Q(status=SAMPLE) & is_decided)
        .values("id", "name", "status", next=F("development__result__next"), seen=F("development__result__evidence"))
    )
    lots: dict[str, PlannedTasting] = {str(row["id"]): _planned(row) for row in rows}
    ranked = next_tastings([OpenLot(key, lot.status == SAMPLE, lot.sessions, lot.next) for key, lot in lots.items()])
    return TastingPlan(len(ranked), tuple(lots[lot.lot] for lot in ranked[:MOST]))


def _planned(row: _Row) -> PlannedTasting:
    return PlannedTasting(
        lot=row["id"],
        name=row["name"],
        status=row["status"],
        sessions=row["seen"]["sessions"] if row["seen"] else 0,
        next=from_stored(NextSession, row["next"]) if row["next"] else _FIRST,
    )
