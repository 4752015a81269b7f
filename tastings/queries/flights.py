"""Reads of blind flights. Before the reveal only those who pour can read which code is which lot."""

import json
from collections import Counter
from collections.abc import Sequence
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet
from django.utils.translation import gettext as _

from lots.models import Lot
from tastings.answers import flights as answers
from tastings.answers.copying import answer_from
from tastings.answers.flights import (
    FlightDecision,
    FlightItem,
    FlightProgress,
    Pour,
    PouringPlan,
    ServingPlan,
    ServingPlanQuality,
    ShopProgress,
    TasterProgress,
)
from tastings.audit_events import FLIGHT_EVENTS
from tastings.errors import WrongState
from tastings.figures import UnreadableFiguresError, from_stored
from tastings.maths.flights.factors import FACTORS
from tastings.models import Flight, FlightCup, Session
from tastings.queries.records import first_or_not_found
from tastings.wording.plan_failures import PlanFailure, plan_failure
from teams.errors import NotAllowed
from teams.models import AuditEntry, Member, User


def must_decide(member: Member) -> None:
    """Raise NotAllowed unless the member is a buyer or an owner."""
    if not member.decides:
        raise NotAllowed(_("flights are run by buyers and owners"))


def flight_row(member: Member, flight: UUID, *, lock: bool = False) -> Flight:
    """Return the team's flight, locked if asked; raise NotFound for an absent or a foreign one."""
    rows = Flight.objects.filter(team_id=member.team_id, id=flight)
    return first_or_not_found(rows.select_for_update(of=("self",)) if lock else rows)


def flight_for(member: Member, flight: UUID) -> FlightItem:
    """Return one flight as the member may see it."""
    return flight_item(member, flight_row(member, flight))


def flights_of(member: Member, *, after: UUID | None, limit: int) -> Sequence[FlightItem]:
    """Return the team's flights in the order of their ids."""
    rows = Flight.objects.filter(team_id=member.team_id)
    if after is not None:
        rows = rows.filter(id__gt=after)
    return [flight_item(member, row) for row in rows.order_by("id")[:limit]]


def flight_item(member: Member, flight: Flight) -> FlightItem:
    """Return a flight as the API shows it: the member's own cups while it is blind, all with their lots afterwards."""
    cups = list(standing_cups(flight))
    people = list(flight.people.filter(out_at=None).order_by("id"))
    weights = {} if flight.weights_for else flight.weights
    lots = flight.candidates.filter(out_at=None).values_list("lot_id", flat=True)
    return answer_from(
        FlightItem,
        flight,
        remarks=flight.remarks or None,
        lots=sorted(lots, key=str),
        tasters=[person.user_id for person in people if not person.pours],
        pourers=[person.user_id for person in people if person.pours],
        reference=flight.reference_id,
        # who tastes is not to be led by what is expected
        expected_order=[UUID(lot) for lot in flight.expected_order] if member.decides or not flight.is_blind else [],
        weights_for=flight.weights_for or None,
        **{f"weight_{name}_pct": weights.get(name) for name in FACTORS},
        plan=_plan(flight),
        progress=_progress(cups),
        cups=[
            _cup(cup, is_blind=flight.is_blind)
            for cup in cups
            if cup.taster_id == member.user_id or flight.revealed_at is not None
        ],
        by=flight.by_id,
        revealed_by=flight.revealed_by_id,
        reveal_reason=flight.reveal_reason or None,
        decision=None if flight.decision is None else from_stored(FlightDecision, flight.decision),
    )


def standing_cups(flight: Flight) -> QuerySet[FlightCup]:
    """Return the cups of the present plan in the order of tasting, each with ``is_tasted``."""
    tasted = Session.objects.filter(flight_cup=OuterRef("id"), removed=False)
    rows = FlightCup.objects.filter(flight=flight, out_at=None).annotate(is_tasted=Exists(tasted))
    return rows.order_by("taster_id", "sitting", "position")


def _cup(cup: FlightCup, *, is_blind: bool) -> answers.FlightCup:
    return answers.FlightCup(
        id=cup.id,
        code=cup.code,
        taster=cup.taster_id,
        sitting=cup.sitting,
        position=cup.position,
        tasted=cup.is_tasted,  # type: ignore[attr-defined]  # annotated
        lot=None if is_blind else cup.lot_id,
    )


def _plan(flight: Flight) -> ServingPlan:
    is_made = flight.plan_made == flight.plan_wanted and not flight.plan_failure
    return ServingPlan(
        state="failed" if flight.plan_failure else "made" if is_made else "making",
        version=flight.plan_made,
        progress=1.0 if is_made else round(flight.plan_progress, 2),
        failure=_plan_failure(flight),
        quality=None if flight.plan is None else from_stored(ServingPlanQuality, flight.plan),
    )


def _plan_failure(flight: Flight) -> str | None:
    if not flight.plan_failure:
        return None
    try:
        return plan_failure(from_stored(PlanFailure, json.loads(flight.plan_failure)))
    except (json.JSONDecodeError, UnreadableFiguresError):
        return flight.plan_failure  # a sentence, as it was stored before there were codes


def _progress(cups: Sequence[FlightCup]) -> FlightProgress:
    """Return how many cups are planned and tasted, in all, by shop and by taster; not what is in them."""
    tasted_cups = [cup for cup in cups if cup.is_tasted]  # type: ignore[attr-defined]
    shop_of: dict[UUID, UUID | None] = {}
    if cups:
        members = Member.objects.filter(team_id=cups[0].team_id, user_id__in={cup.taster_id for cup in cups})
        shop_of = dict(members.values_list("user_id", "shop_id"))
    by_shop, tasted_by_shop = (Counter(shop_of.get(cup.taster_id) for cup in group) for group in (cups, tasted_cups))
    by_taster, tasted_by_taster = (Counter(cup.taster_id for cup in group) for group in (cups, tasted_cups))
    return FlightProgress(
        planned=len(cups),
        tasted=len(tasted_cups),
        shops=[
            ShopProgress(shop=shop, planned=by_shop[shop], tasted=tasted_by_shop[shop])
            for shop in sorted(by_shop, key=str)
        ],
        tasters=[
            TasterProgress(taster=taster, planned=by_taster[taster], tasted=tasted_by_taster[taster])
            for taster in sorted(by_taster, key=str)
        ],
    )


def names_of_flights(member: Member) -> dict[str, str]:
    """Return the names of the team's flights by id."""
    return {
        str(flight): name for flight, name in Flight.objects.filter(team_id=member.team_id).values_list("id", "name")
    }


def events_of(member: Member, flight: UUID) -> list[AuditEntry]:
    """Return what the audit log has of a flight, the latest first: for buyers and owners, who run it."""
    must_decide(member)
    entries = AuditEntry.objects.filter(team_id=member.team_id, what__in=FLIGHT_EVENTS, about__flight=str(flight))
    return list(entries.select_related("who").order_by("-at", "-id"))


def pouring_plan_for(member: Member, flight: UUID) -> PouringPlan:
    """Return which code is which lot.

    Raise NotFound for an unknown flight, NotAllowed if the flight is blind and the member does not pour for it,
    WrongState if there is no plan yet or no flight any more.
    """
    row = flight_row(member, flight)
    pours = row.people.filter(user_id=member.user_id, pours=True, out_at=None).exists()
    if row.is_blind and not pours:
        raise NotAllowed(_("only who pours for this flight sees its codes with names before the reveal"))
    if row.plan is None or row.state == Flight.State.CALLED_OFF:
        raise WrongState(_("there is no plan"))
    cups = list(standing_cups(row))
    names = dict(Lot.objects.filter(id__in={cup.lot_id for cup in cups}).values_list("id", "name"))
    tasters = {user.id: str(user) for user in User.objects.filter(id__in={cup.taster_id for cup in cups})}
    return PouringPlan(
        flight=row.id,
        version=row.plan_made,
        pours=[
            answer_from(
                Pour,
                cup,
                taster=tasters[cup.taster_id],
                lot=cup.lot_id,
                lot_name=names[cup.lot_id],
                tasted=cup.is_tasted,  # type: ignore[attr-defined]
            )
            for cup in sorted(cups, key=lambda c: (tasters[c.taster_id], c.sitting, c.position))
        ],
    )
