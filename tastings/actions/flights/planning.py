"""Makes a flight's serving plan, and makes it again around what was tasted already."""

import json
import logging
import time
from collections import defaultdict
from collections.abc import Callable, Sequence
from datetime import datetime
from secrets import SystemRandom
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet

from tastings.actions.flights.jobs import enqueue_plan
from tastings.answers.flights import ServingPlanQuality
from tastings.figures import to_stored
from tastings.maths.flights.serving import Plan, PlanError, PlannedSitting, plan_servings
from tastings.models import Flight, FlightCup
from tastings.queries.flights import standing_cups
from tastings.wording.plan_failures import PlanFailure
from teams.actions.revisions import lock_team

_log = logging.getLogger(__name__)
_PROGRESS_EVERY_S = 0.25


def plan_flight(flight: UUID, *, now: datetime) -> bool:
    """Compute and store the plan that was asked for; return whether this call did so. Safe to run twice.

    The plan is made outside any transaction, since it may take seconds. Should a cup be tasted or the flight change
    meanwhile, it is made again.
    """
    row = Flight.objects.filter(id=flight).first()
    if row is None or not row.is_blind or row.plan_made == row.plan_wanted:
        return False
    fixed = _tasted(row)
    try:
        plan = plan_servings(
            lots=[str(lot) for lot in _ids(row, "candidates", "lot_id")],
            tasters=[str(user) for user in _ids(row, "people", "user_id", pours=False)],
            cups=row.cups_per_sitting,
            sittings=row.sittings,
            reference=str(row.reference_id) if row.reference_id else None,
            repeats=row.repeats,
            fixed=_as_sittings(fixed),
            seed=row.seed + row.plan_wanted,
            on_progress=_progress_writer(row),
        )
    except PlanError as error:
        failure = PlanFailure(error.code, lots=error.lots, cups=error.cups)
    except (ValueError, ArithmeticError) as error:
        _log.exception("flight %s: no plan", flight)
        failure = PlanFailure("program_error", detail=f"{type(error).__name__}: {error}"[:300])
    else:
        return _store(row, plan, fixed=fixed, now=now)
    _store_failure(Flight.objects.filter(id=flight, plan_wanted=row.plan_wanted), failure)
    return False


def _store_failure(flights: QuerySet[Flight], failure: PlanFailure) -> None:
    flights.update(plan_failure=json.dumps(to_stored(failure)))


def _ids(flight: Flight, rows: str, column: str, **conditions: bool) -> Sequence[UUID]:
    present = getattr(flight, rows).filter(out_at=None, **conditions)
    return list(present.order_by(column).values_list(column, flat=True))


def _tasted(flight: Flight) -> list[FlightCup]:
    return [cup for cup in standing_cups(flight) if cup.is_tasted]  # type: ignore[attr-defined]


def _as_sittings(cups: Sequence[FlightCup]) -> list[PlannedSitting]:
    served: dict[tuple[str, int], list[str]] = defaultdict(list)
    for cup in cups:
        served[str(cup.taster_id), cup.sitting].append(str(cup.lot_id))
    return [
        PlannedSitting(taster=taster, number=number, lots=tuple(lots), n_fixed=len(lots))
        for (taster, number), lots in served.items()
    ]


def _progress_writer(flight: Flight) -> Callable[[float], None]:
    written_at = time.monotonic()

    def write(done: float) -> None:
        nonlocal written_at
        if time.monotonic() - written_at > _PROGRESS_EVERY_S:
            written_at = time.monotonic()
            Flight.objects.filter(id=flight.id).update(plan_progress=done)

    return write


@transaction.atomic
def _store(planned: Flight, plan: Plan, *, fixed: Sequence[FlightCup], now: datetime) -> bool:
    lock_team(planned.team_id)  # from here on no phone's session of a cup can come in between
    flight = Flight.objects.select_for_update(of=("self",)).get(id=planned.id)
    if not flight.is_blind or flight.plan_made == planned.plan_wanted:
        return False
    if flight.plan_wanted != planned.plan_wanted:
        return False  # the job of the later request is under way
    if {cup.id for cup in _tasted(flight)} != {cup.id for cup in fixed}:
        enqueue_plan(flight, now=now)
        return False
    last: dict[tuple[str, int], int] = defaultdict(int)
    for cup in fixed:
        place = str(cup.taster_id), cup.sitting
        last[place] = max(last[place], cup.position)
    used = set(FlightCup.objects.filter(flight=flight).values_list("code", flat=True))
    new = [
        (sitting, last[sitting.taster, sitting.number] + i + 1, lot)
        for sitting in plan.sittings
        for i, lot in enumerate(sitting.lots[sitting.n_fixed :])
    ]
    free = sorted(set(range(100, 1000)) - used)
    if len(new) > len(free):
        _store_failure(Flight.objects.filter(id=flight.id), PlanFailure("no_code_left"))
        return False  # the cups of the plan before stay
    FlightCup.objects.filter(flight=flight, out_at=None).exclude(id__in=[cup.id for cup in fixed]).update(out_at=now)
    codes = SystemRandom().sample(free, len(new))  # not from the seed: a code must give away nothing of its place
    FlightCup.objects.bulk_create(
        FlightCup(
            team_id=flight.team_id,
            flight=flight,
            taster_id=UUID(sitting.taster),
            sitting=sitting.number,
            position=position,
            code=code,
            lot_id=UUID(lot),
        )
        for (sitting, position, lot), code in zip(new, codes, strict=True)
    )
    Flight.objects.filter(id=flight.id).update(
        state=Flight.State.TASTING,
        plan_made=planned.plan_wanted,
        plan_progress=1.0,
        plan=to_stored(
            ServingPlanQuality(
                cups=len(new) + len(fixed),
                kept=len(fixed),
                efficiency=round(plan.efficiency, 4),
                bound=round(plan.bound, 4),
                connected=plan.connected,
                position_spread=plan.position_spread,
                carry_over_spread=plan.carry_over_spread,
            ),
            decimals=None,
        ),
    )
    return True
