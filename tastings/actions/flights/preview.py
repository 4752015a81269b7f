"""The serving plan of a flight as it would be, before anything is stored."""

from collections import Counter
from collections.abc import Mapping
from uuid import UUID

from django.utils.translation import gettext as _

from tastings.actions.flights.editing import new_design
from tastings.answers.flight_preview import PlanPreview
from tastings.errors import WrongState
from tastings.maths.flights.serving import PlanError, plan_servings
from tastings.models import Session
from tastings.queries.flights import flight_row, must_decide
from tastings.wording.plan_failures import PlanFailure
from teams.models import Member

MOST_PREVIEWED = 120
"""Cups up to which a plan takes a second at most, so that a request can wait for it."""


def preview_flight(member: Member, payload: Mapping[str, object], *, flight: UUID | None = None) -> PlanPreview:
    """Return what the plan of such a flight would be like; nothing is stored.

    ``member`` is a buyer or owner, ``payload`` a whole flight as `create_flight` takes it, ``flight`` the one to be
    changed into it. Raise Invalid as `create_flight`, WrongState if cups were tasted already: what is left to plan
    could tell which code was which lot.
    """
    must_decide(member)
    stored = None if flight is None else flight_row(member, flight)
    if stored is not None and Session.objects.filter(flight_cup__flight=stored).exists():
        raise WrongState(_("cups were tasted already"))
    design = new_design(member, payload, stored=stored)
    if len(design.tasters) * design.cups_per_sitting * design.sittings > MOST_PREVIEWED:
        most_of_one = min(
            design.cups_per_sitting * design.sittings,
            len(design.lots) + design.repeats + (design.sittings if design.reference else 0),
        )
        return PlanPreview(cups_by_taster=dict.fromkeys(design.tasters, most_of_one))
    try:
        plan = plan_servings(
            lots=[str(lot) for lot in design.lots],
            tasters=[str(user) for user in design.tasters],
            cups=design.cups_per_sitting,
            sittings=design.sittings,
            reference=str(design.reference) if design.reference else None,
            repeats=design.repeats,
            seed=0,
        )
    except PlanError as error:
        return PlanPreview(cups_by_taster={}, failure=PlanFailure(error.code, lots=error.lots, cups=error.cups))
    cups: Counter[UUID] = Counter()
    for sitting in plan.sittings:
        cups[UUID(sitting.taster)] += len(sitting.lots)
    of_lots = Counter(lot for sitting in plan.sittings for lot in sitting.lots)
    times = [of_lots[str(lot)] for lot in design.lots]
    return PlanPreview(
        cups_by_taster=cups,
        fewest=min(times),
        most=max(times),
        efficiency=plan.efficiency,
        bound=plan.bound,
        connected=plan.connected,
        position_spread=plan.position_spread,
    )
