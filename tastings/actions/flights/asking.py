"""Asking for a flight's plan or answer: the wish stands in the database, the message to a worker is only a hint."""

from collections.abc import Collection
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import F, Q

from tastings.jobs import Job, later
from tastings.models import Flight

_FORGOTTEN = timedelta(seconds=120)
"""A job that has not answered by then was lost: both may take up to a minute."""


def ask_for_plan(flight: Flight, *, now: datetime) -> None:
    """Ask for a new plan in the present transaction."""
    Flight.objects.filter(id=flight.id).update(
        plan_wanted=F("plan_wanted") + 1, plan_asked_at=now, plan_progress=0.0, plan_failure=""
    )
    later(Job.PLAN_FLIGHT, str(flight.id))


def ask_for_answer(flight: Flight, *, now: datetime) -> None:
    """Ask for a new answer in the present transaction."""
    Flight.objects.filter(id=flight.id).update(answer_wanted=F("answer_wanted") + 1, answer_asked_at=now)
    later(Job.ANSWER_FLIGHT, str(flight.id))


def ask_for_answers(cups: Collection[UUID], *, now: datetime) -> None:
    """Ask for new answers of the revealed flights that these cups belong to."""
    if cups:
        for flight in Flight.objects.filter(revealed_at__isnull=False, cups__id__in=cups).distinct():
            ask_for_answer(flight, now=now)


def ask_due_flights(*, now: datetime) -> int:
    """Ask for every plan and answer whose job was lost; return how many."""
    old = now - _FORGOTTEN
    asked = 0
    for thing, job in (("plan", Job.PLAN_FLIGHT), ("answer", Job.ANSWER_FLIGHT)):
        behind = Q(**{f"{thing}_wanted__gt": F(f"{thing}_made"), f"{thing}_failure": ""})
        lost = Q(**{f"{thing}_asked_at": None}) | Q(**{f"{thing}_asked_at__lt": old})
        rows = list(Flight.objects.filter(behind, lost).select_for_update().order_by("id"))
        Flight.objects.filter(id__in=[row.id for row in rows]).update(**{f"{thing}_asked_at": now})
        for row in rows:
            later(job, str(row.id))
        asked += len(rows)
    return asked
