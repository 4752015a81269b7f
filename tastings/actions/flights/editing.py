"""Creating a flight, changing it, calling it off."""

import secrets
from collections.abc import Collection, Mapping
from datetime import datetime
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from lots.bodies import clean_body
from lots.schema import clean_fields
from lots.wording import field_problem
from tastings.actions.flights.design import PLANNED_FROM, FlightDesign
from tastings.actions.flights.jobs import enqueue_plan
from tastings.audit_events import TastingEvent
from tastings.errors import WrongState
from tastings.models import Flight, Session
from tastings.queries.flights import flight_row, must_decide
from tastings.schemas import FLIGHT
from teams.actions.audit import record_event
from teams.actions.revisions import lock_team, renew
from teams.errors import Invalid, Problem
from teams.models import Member

_AUDITED = {
    TastingEvent.POURERS_CHANGE: "pourers",  # who pours knows which code is which lot
    TastingEvent.TASTERS_CHANGE: "tasters",
    TastingEvent.SAMPLES_CHANGE: "lots",
}


@transaction.atomic
def create_flight(member: Member, *, flight: UUID, payload: Mapping[str, object], now: datetime) -> None:
    """Create a flight under the id its client made, and enqueue its plan; the same one sent again changes nothing.

    Raise Invalid for a field, a lot that is no sample of the team, a person who is no member, or an id in use.
    """
    must_decide(member)
    design = new_design(member, payload)
    created = Flight(
        id=flight,
        team_id=member.team_id,
        seed=secrets.randbits(62),
        by_id=member.user_id,
        created_at=now,
        **design.columns(),
    )
    try:
        with transaction.atomic():
            created.save(force_insert=True)
    except IntegrityError as error:
        stored = Flight.objects.filter(id=flight, team_id=member.team_id, by_id=member.user_id).first()
        if stored is not None and FlightDesign.of({}, stored=stored).matches(design):
            return
        raise Invalid(problems=[Problem("id", "taken", _("choose another id"))]) from error
    _record_change(member, created, TastingEvent.POURERS_CHANGE, before=(), after=design.pourers, now=now)
    design.store_lots_and_people(created, now=now)
    enqueue_plan(created, now=now)


@transaction.atomic
def update_flight(member: Member, *, flight: UUID, payload: Mapping[str, object], now: datetime) -> None:
    """Change the fields of the request; when that changes who tastes what, plan again around what was tasted already.

    Raise WrongState if the flight is revealed or called off, Invalid for a field.
    """
    must_decide(member)
    lock_team(member.team_id)
    stored = flight_row(member, flight, lock=True)
    if not stored.is_blind:
        raise WrongState(_("a flight that is revealed or called off does not change"))
    values, faults = clean_fields(FLIGHT, payload)
    if faults:
        raise Invalid(problems=[field_problem(name, fault) for name, fault in faults])
    design = FlightDesign.of(values, stored=stored)
    if problems := design.problems(member, stored=stored):
        raise Invalid(problems=problems)
    before = FlightDesign.of({}, stored=stored)
    Flight.objects.filter(id=flight).update(**design.columns())
    for event, name in _AUDITED.items():
        _record_change(member, stored, event, before=getattr(before, name), after=getattr(design, name), now=now)
    design.store_lots_and_people(stored, now=now)
    renew(Flight.objects.filter(id=flight))
    if any(name in values for name in PLANNED_FROM):
        stored.refresh_from_db()
        enqueue_plan(stored, now=now)


@transaction.atomic
def call_off_flight(member: Member, *, flight: UUID, now: datetime) -> None:
    """Call a flight off; raise WrongState once a cup was tasted: then it is revealed, so that each note has its lot."""
    must_decide(member)
    lock_team(member.team_id)
    stored = flight_row(member, flight, lock=True)
    if not stored.is_blind:
        raise WrongState(_("it is revealed or called off already"))
    if Session.objects.filter(flight_cup__flight=stored, removed=False).exists():
        raise WrongState(_("cups were tasted already: reveal it, with a reason"))
    Flight.objects.filter(id=flight).update(state=Flight.State.CALLED_OFF)
    about = {"flight": str(flight)}
    record_event(team=member.team_id, login=member.user_id, event=TastingEvent.FLIGHT_CALLED_OFF, about=about, now=now)


def new_design(member: Member, payload: Mapping[str, object], *, stored: Flight | None = None) -> FlightDesign:
    """Return the design that a whole request makes; raise Invalid as `create_flight`."""
    design = FlightDesign.of(clean_body(FLIGHT, payload), stored=stored)
    if problems := design.problems(member, stored=stored):
        raise Invalid(problems=problems)
    return design


def _record_change(  # noqa: PLR0913 - what the entry says
    member: Member,
    flight: Flight,
    event: TastingEvent,
    *,
    before: Collection[UUID],
    after: Collection[UUID],
    now: datetime,
) -> None:
    """Add an entry to the audit log when people or samples of a flight have changed."""
    if set(before) == set(after):
        return
    about = {
        "flight": str(flight.id),
        "added": sorted(map(str, set(after) - set(before))),
        "removed": sorted(map(str, set(before) - set(after))),
    }
    record_event(team=member.team_id, login=member.user_id, event=event, about=about, now=now)
