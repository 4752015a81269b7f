"""Pages of blind flights: the list, one flight, the pourer's plan and the taster's own sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views import View
from django.views.decorators.http import require_safe

from api.http.conditional import id_from_path
from pages.audit import audit_entry, names_in_audit
from pages.browser import memberships_in, of_chosen_team, page, read_as_member, work_for
from tastings.actions.flights.admitting import admit_late_score
from tastings.queries.flight_answers import answer_of_flight
from tastings.queries.flight_scores import points_by_cup
from tastings.queries.flights import events_of, flight_for, flight_item, flight_row, flights_of, pouring_plan_for
from tastings.queries.late_scores import late_sessions
from tastings.queries.records import names_of_lots
from tastings.queries.triangles import answers_left, triangle_tests_of
from tastings.reports.flight_codes import cups_by_lot
from tastings.reports.flight_steps import next_step
from tastings.reports.flights import cups_context, flight_context, flights_context, pouring_context
from tastings.wording.numbers import day
from teams.errors import NotFound
from teams.queries.people import names_of_members, shops_of

if TYPE_CHECKING:
    from tastings.answers.flights import FlightItem
    from tastings.reports.flight_steps import NextStep
    from teams.models import Member

MOST_SHOWN = 200
AGAIN_S = 3
"""After how long a page asks again for the plan or the answer that is being made [s]."""


def member_and_flight(request: HttpRequest, flight_id: str) -> tuple[Member, UUID]:
    """Return the caller's membership of the flight's team, and the flight's id; raise NotFound without one."""
    flight = id_from_path(flight_id)
    return work_for(read_as_member(request, lambda member: flight_row(member, flight))[0]), flight


def found_flight(request: HttpRequest, flight_id: str) -> tuple[Member, FlightItem]:
    """Return the caller's membership of the flight's team, and the flight; raise NotFound without one."""
    member, flight = member_and_flight(request, flight_id)
    return member, flight_for(member, flight)


@page
@require_safe
def flights(request: HttpRequest) -> HttpResponse:
    """List the flights of the team that the caller works for, those with something for them to do first."""
    memberships = of_chosen_team(request, memberships_in(request))
    rows = [row for member in memberships for row in _with_steps(member)]
    context = {
        **flights_context(rows),
        "decides": any(member.decides for member in memberships),
        "triangles": [row for member in memberships for row in _own_triangles(member)],
    }
    return render(request, "pages/flights.html", context)


@page
@require_safe
def flight(request: HttpRequest, flight_id: str) -> HttpResponse:
    """Show what comes next in a flight and how far it is; after the reveal what it says."""
    member, identifier = member_and_flight(request, flight_id)
    row = flight_row(member, identifier)
    item = flight_item(member, row)
    answer = answer_of_flight(row) if row.revealed_at else None
    people, names = names_of_members(member), names_of_lots(member)
    context = flight_context(
        item,
        answer=answer,
        lots=names,
        people=people,
        shops={str(shop.id): shop.name for shop in shops_of(member)},
    )
    if answer is not None:
        context["codes"] = cups_by_lot(item, answer=answer, points=points_by_cup(row), lots=names, people=people)
        context["scale"] = 100 if row.weights else 10
    step = next_step(item, me=member.user_id, decides=member.decides, people=people, answer=answer)
    events: list[dict[str, object]] = []
    if member.decides:
        in_audit = names_in_audit(member)
        events = [audit_entry(entry, in_audit, without="flight") for entry in events_of(member, item.id)]
    context |= {"decides": member.decides, "step": step, "events": events, "again_s": AGAIN_S}
    return render(request, "pages/flight.html", context)


def _own_triangles(member: Member) -> list[dict[str, object]]:
    """Return the triangle tests in which the member has answers left to give; the teas stay unnamed."""
    tests = triangle_tests_of(member, lot=None, waits_for=member.user_id, after=None, limit=MOST_SHOWN)
    return [
        {
            "href": reverse("triangle-answer", args=[test.lot_id, test.id]),
            "day": day(test.held_on),
            "left": answers_left(test)[member.user_id],
        }
        for test in sorted(tests, key=lambda test: test.held_on)
    ]


def _with_steps(member: Member) -> list[tuple[FlightItem, NextStep]]:
    people = names_of_members(member)
    return [
        (flight, next_step(flight, me=member.user_id, decides=member.decides, people=people))
        for flight in flights_of(member, after=None, limit=MOST_SHOWN)
    ]


class AdmitLate(View):
    """Admitting a score that arrived after the reveal."""

    def get(self, request: HttpRequest, flight_id: str, session_id: str) -> HttpResponse:
        """Lead to the flight: somebody who was signed out when admitting one comes back here."""
        member, flight = member_and_flight(request, flight_id)
        session = id_from_path(session_id)
        if all(late.shown.session != session for late in late_sessions(flight_row(member, flight))):
            raise NotFound
        return redirect("flight", flight)

    def post(self, request: HttpRequest, flight_id: str, session_id: str) -> HttpResponse:
        """Let it count, as it was shown."""
        member, flight = member_and_flight(request, flight_id)
        sent = request.POST.get("revision", "")
        revision = int(sent) if sent.isascii() and sent.isdigit() and len(sent) < 19 else 0
        admit_late_score(member, flight=flight, session=id_from_path(session_id), revision=revision, now=timezone.now())
        return redirect("flight", flight)


@page
@require_safe
def pouring(request: HttpRequest, flight_id: str) -> HttpResponse:
    """Give the plan to whoever pours."""
    member, flight = member_and_flight(request, flight_id)
    plan = pouring_plan_for(member, flight)
    context = pouring_context(flight_for(member, plan.flight), plan)
    return render(request, "pages/pouring.html", context)


@page
@require_safe
def cups(request: HttpRequest, flight_id: str) -> HttpResponse:
    """Give a taster the codes of their own cups, to print."""
    member, flight = found_flight(request, flight_id)
    context = cups_context(flight, me=member.user_id)
    return render(request, "pages/cups.html", context)
