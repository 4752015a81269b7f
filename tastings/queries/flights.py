"""Reads of blind flights. Before the reveal nobody but who pours gets to know which code is which lot."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet
from django.utils.translation import gettext as _

from lots.models import Lot
from lots.models.wire import TO_WIRE
from tastings.errors import WrongState
from tastings.maths.flights.factors import FACTORS
from tastings.models import Flight, FlightCup, Session
from teams.errors import NotAllowed, NotFound
from teams.models import Member, User


def must_decide(member: Member) -> None:
    """Raise NotAllowed for a member who neither buys nor owns."""
    if not member.decides:
        raise NotAllowed(_("flights are run by buyers and owners"))


def flight_row(member: Member, flight: UUID, *, lock: bool = False) -> Flight:
    """Return the team's flight, locked if asked; raise NotHere for an absent or a foreign one."""
    rows = Flight.objects.filter(team_id=member.team_id, id=flight)
    found = (rows.select_for_update(of=("self",)) if lock else rows).first()
    if found is None:
        raise NotFound
    return found


def flight_for(member: Member, flight: UUID) -> dict[str, object]:
    """Return one flight as the member may see it."""
    return flight_shown(member, flight_row(member, flight))


def flights_of(member: Member, *, after: UUID | None, limit: int) -> Sequence[dict[str, object]]:
    """Return the team's flights in the order of their ids."""
    rows = Flight.objects.filter(team_id=member.team_id)
    if after is not None:
        rows = rows.filter(id__gt=after)
    return [flight_shown(member, row) for row in rows.order_by("id")[:limit]]


def flight_shown(member: Member, flight: Flight) -> dict[str, object]:
    """Return a flight in wire form: the member's own cups while it is blind, all with their lots afterwards."""
    cups = list(standing_cups(flight))
    people = list(flight.people.filter(out_at=None).order_by("id"))
    own = {} if flight.weights_for else flight.weights
    return {
        "id": str(flight.id),
        **{name: getattr(flight, name) for name in _PLAIN},
        "remarks": flight.remarks or None,
        "lots": sorted(str(lot) for lot in flight.candidates.filter(out_at=None).values_list("lot_id", flat=True)),
        "tasters": [str(one.user_id) for one in people if not one.pours],
        "pourers": [str(one.user_id) for one in people if one.pours],
        "reference": str(flight.reference_id) if flight.reference_id else None,
        # who tastes is not to be led by what is expected
        "expected_order": flight.expected_order if member.decides or not flight.is_blind else [],
        "weights_for": flight.weights_for or None,
        **{f"weight_{name}_pct": own.get(name) for name in FACTORS},
        "plan": _plan(flight),
        "progress": progress(cups),
        "cups": [
            _cup(cup, told=not flight.is_blind)
            for cup in cups
            if cup.taster_id == member.user_id or flight.revealed_at is not None
        ],
        "by": str(flight.by_id),
        "created_at": TO_WIRE["moment"](flight.created_at),
        "revealed_at": TO_WIRE["moment"](flight.revealed_at),
        "revealed_by": TO_WIRE["reference"](flight.revealed_by_id),
        "reveal_reason": flight.reveal_reason or None,
        "decision": flight.decision,
    }


_PLAIN = ("name", "state", "protocol", "infusions", "cups_per_sitting", "sittings", "repeats")


def standing_cups(flight: Flight) -> QuerySet[FlightCup]:
    """Return the cups of the present plan in the order of tasting, each with ``is_tasted``."""
    tasted = Session.objects.filter(flight_cup=OuterRef("id"), removed=False)
    rows = FlightCup.objects.filter(flight=flight, out_at=None).annotate(is_tasted=Exists(tasted))
    return rows.order_by("taster_id", "sitting", "position")


def _cup(cup: FlightCup, *, told: bool) -> dict[str, object]:
    known: dict[str, object] = {
        "id": str(cup.id),
        "code": cup.code,
        "taster": str(cup.taster_id),
        "sitting": cup.sitting,
        "position": cup.position,
        "tasted": cup.is_tasted,  # type: ignore[attr-defined]  # annotated
    }
    return known | {"lot": str(cup.lot_id) if told else None}


def _plan(flight: Flight) -> dict[str, object]:
    state = "failed" if flight.plan_failure else "made" if flight.plan_made == flight.plan_wanted else "making"
    return {
        "state": state,
        "version": flight.plan_made,
        "progress": 1.0 if state == "made" else round(flight.plan_progress, 2),
        "failure": flight.plan_failure or None,
        "quality": flight.plan,
    }


def progress(cups: Iterable[FlightCup]) -> dict[str, object]:
    """Return how many cups are planned and tasted, in all, by shop and by taster; not what is in them."""
    found = list(cups)
    shops: dict[UUID, UUID | None] = {}
    if found:
        members = Member.objects.filter(team_id=found[0].team_id, user_id__in={cup.taster_id for cup in found})
        shops = dict(members.values_list("user_id", "shop_id"))

    def counted(of: Mapping[UUID, object], name: str) -> list[dict[str, object]]:
        planned = Counter(of.get(cup.taster_id) for cup in found)
        tasted = Counter(of.get(cup.taster_id) for cup in found if cup.is_tasted)  # type: ignore[attr-defined]
        return [
            {name: str(one) if one else None, "planned": planned[one], "tasted": tasted[one]}
            for one in sorted(planned, key=str)
        ]

    return {
        "planned": len(found),
        "tasted": sum(cup.is_tasted for cup in found),  # type: ignore[attr-defined]
        "shops": counted(shops, "shop"),
        "tasters": counted({cup.taster_id: cup.taster_id for cup in found}, "taster"),
    }


@dataclass(frozen=True, slots=True)
class Pour:
    """One cup as who pours needs it."""

    taster: str
    sitting: int
    position: int
    code: int
    lot: str
    lot_name: str
    tasted: bool


@dataclass(frozen=True, slots=True)
class PouringPlan:
    """What to pour for whom, in the order of serving."""

    flight: Flight
    pours: tuple[Pour, ...]


def pouring_plan_for(member: Member, flight: UUID) -> PouringPlan:
    """Return which code is which lot.

    Raises
    ------
    NotHere
        The team has no such flight.
    NotAllowed
        The flight is blind and the member does not pour for it.
    WrongState
        There is no plan yet, or no flight any more.
    """
    found = flight_row(member, flight)
    pours = found.people.filter(user_id=member.user_id, pours=True, out_at=None).exists()
    if found.is_blind and not pours:
        raise NotAllowed(_("only who pours for this flight sees its codes with names before the reveal"))
    if found.plan is None or found.state == Flight.State.CALLED_OFF:
        raise WrongState(_("there is no plan"))
    cups = list(standing_cups(found))
    names = dict(Lot.objects.filter(id__in={cup.lot_id for cup in cups}).values_list("id", "name"))
    tasters = {user.id: str(user) for user in User.objects.filter(id__in={cup.taster_id for cup in cups})}
    return PouringPlan(
        found,
        tuple(
            Pour(
                taster=tasters[cup.taster_id],
                sitting=cup.sitting,
                position=cup.position,
                code=cup.code,
                lot=str(cup.lot_id),
                lot_name=names[cup.lot_id],
                tasted=cup.is_tasted,  # type: ignore[attr-defined]
            )
            for cup in sorted(cups, key=lambda c: (tasters[c.taster_id], c.sitting, c.position))
        ),
    )
