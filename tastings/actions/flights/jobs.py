"""Enqueueing the jobs that make a flight's plan and answer.

What is wanted is stored in the flight's row; the message to a worker may be lost and is then sent again.
"""

from datetime import datetime, timedelta

from django.db.models import F, Q

from tastings.jobs import Job, later
from tastings.maths.flights.result import METHOD
from tastings.models import Flight

_LOST_AFTER = timedelta(seconds=120)
"""A job that has not finished after this time counts as lost: both may take up to a minute."""


def enqueue_plan(flight: Flight, *, now: datetime) -> None:
    """Ask for a new plan, in the present transaction, and enqueue its job."""
    Flight.objects.filter(id=flight.id).update(
        plan_wanted=F("plan_wanted") + 1, plan_asked_at=now, plan_progress=0.0, plan_failure=""
    )
    later(Job.PLAN_FLIGHT, str(flight.id))


def enqueue_answer(flight: Flight, *, now: datetime) -> None:
    """Ask for a new answer, in the present transaction, and enqueue its job."""
    Flight.objects.filter(id=flight.id).update(answer_wanted=F("answer_wanted") + 1, answer_asked_at=now)
    later(Job.ANSWER_FLIGHT, str(flight.id))


def enqueue_due_flights(*, now: datetime) -> int:
    """Enqueue every plan and answer whose job was lost, and answers of an earlier method; return how many."""
    enqueued = 0
    is_earlier = ~Q(answer__has_key="method") | ~Q(answer__method=METHOD)
    for flight in Flight.objects.filter(is_earlier, answer__isnull=False, answer_failure=""):
        if flight.answer_made == flight.answer_wanted:
            enqueue_answer(flight, now=now)
            enqueued += 1
    for name, job in (("plan", Job.PLAN_FLIGHT), ("answer", Job.ANSWER_FLIGHT)):
        is_wanted = Q(**{f"{name}_wanted__gt": F(f"{name}_made"), f"{name}_failure": ""})
        is_lost = Q(**{f"{name}_asked_at": None}) | Q(**{f"{name}_asked_at__lt": now - _LOST_AFTER})
        rows = list(Flight.objects.filter(is_wanted, is_lost).select_for_update().order_by("id"))
        Flight.objects.filter(id__in=[row.id for row in rows]).update(**{f"{name}_asked_at": now})
        for row in rows:
            later(job, str(row.id))
        enqueued += len(rows)
    return enqueued
