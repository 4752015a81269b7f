"""Setting a flight up and changing it."""

from __future__ import annotations

from typing import TYPE_CHECKING
from uuid import uuid4

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.generic import View

from pages.browser import chosen_member
from pages.flight_forms import WEIGHTS, FlightForm, values_of
from pages.flights import found_flight
from pages.record_forms import wrong_fields
from tastings.actions.flights.editing import create_flight, update_flight
from tastings.actions.flights.preview import preview_flight
from tastings.errors import WrongState
from tastings.queries.flights import must_decide
from tastings.queries.records import choices_of_lots, list_records, names_of_live_lots
from tastings.reports.flight_setup import preview_sentences, protocol_hint, sample_line
from tastings.schemas import FLIGHT
from teams.errors import Invalid
from teams.queries.people import present_members

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from uuid import UUID

    from tastings.answers.flights import FlightItem
    from tastings.queries.records import Record
    from teams.models import Member

MOST_SEARCHED = 2000
"""Most samples of a team that the search looks through."""
MOST_SAMPLES = int(FLIGHT.by_name()["lots"].high or 0)
"""Most samples of one flight; a page lists as many beside the ticked ones."""
FIRST_CUPS, FIRST_SITTINGS = 6, 1
"""What a new flight's form begins with. Own choice, no source."""
_MORE = ("protocol", "infusions", "reference", "weights_for")


class NewFlight(View):
    """A page on which a flight is set up."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """Show the form."""
        member = chosen_member(request)
        must_decide(member)
        return _render(request, member, _form(member, _first_values(member)))

    def post(self, request: HttpRequest) -> HttpResponse:
        """Find samples, show the plan, or set the flight up."""
        member = chosen_member(request)
        must_decide(member)
        form = _form(member, _first_values(member), request)
        if request.POST.get("do") != "make" or not form.is_valid():
            return _search_or_preview(request, member, form)
        payload = form.payload()
        if not form.errors:
            try:
                flight = _create(member, form.cleaned_data["new"] or uuid4(), payload)
            except Invalid as refused:
                form.show(refused)
            else:
                return redirect("flight", flight)
        return _render(request, member, form)


def _create(member: Member, flight: UUID, payload: Mapping[str, object]) -> UUID:
    """Create a flight under the id of its form: the form sent twice makes one flight, with changes another."""
    try:
        create_flight(member, flight=flight, payload=payload, now=timezone.now())
    except Invalid as refused:
        if [problem.field for problem in refused.problems] != ["id"]:
            raise
        flight = uuid4()
        create_flight(member, flight=flight, payload=payload, now=timezone.now())
    return flight


class ChangeFlight(View):
    """A page on which a flight is changed."""

    def get(self, request: HttpRequest, flight_id: str) -> HttpResponse:
        """Show how it is set up."""
        member, flight = self._found(request, flight_id)
        return _render(request, member, _form(member, values_of(flight)), flight)

    def post(self, request: HttpRequest, flight_id: str) -> HttpResponse:
        """Find samples, show the plan, or store what was changed."""
        member, flight = self._found(request, flight_id)
        form = _form(member, values_of(flight), request)
        if request.POST.get("do") != "make" or not form.is_valid():
            return _search_or_preview(request, member, form, flight)
        if form.is_overtaken():
            form.show_what_changed_meanwhile()
            return _render(request, member, form, flight)
        changed = form.changed()
        if not form.errors:
            try:
                if changed:
                    update_flight(member, flight=flight.id, payload=changed, now=timezone.now())
            except Invalid as refused:
                form.show(refused)
            else:
                return redirect("flight", flight.id)
        return _render(request, member, form, flight)

    def _found(self, request: HttpRequest, flight_id: str) -> tuple[Member, FlightItem]:
        member, flight = found_flight(request, flight_id)
        must_decide(member)
        if flight.state not in ("set_up", "tasting"):
            raise WrongState(_("a flight that is revealed or called off does not change"))
        return member, flight


def _first_values(member: Member) -> dict[str, object]:
    """Return the first values of a new flight: its author pours, and all others who may taste are tasters."""
    others = [person for person in present_members(member) if person.user_id != member.user_id]
    return {
        "tasters": [str(person.user_id) for person in others if person.may_write],
        "pourers": [str(member.user_id)],
        "cups_per_sitting": FIRST_CUPS,
        "sittings": FIRST_SITTINGS,
        "repeats": 0,
        "protocol": "covered_bowl",
    }


def _form(member: Member, begins_with: dict[str, object], request: HttpRequest | None = None) -> FlightForm:
    lots = list_records(member, "lot", filters={"status": "sample"}, after=None, limit=MOST_SEARCHED)
    samples = sorted(lots, key=lambda lot: (str(lot.fields["name"]).casefold(), lot.id))
    data = request.POST if request is not None else None
    return FlightForm(member, samples, choices_of_lots(member), begins_with=begins_with, data=data)


def _search_or_preview(
    request: HttpRequest, member: Member, form: FlightForm, flight: FlightItem | None = None
) -> HttpResponse:
    """Show the form again as it was filled in: with other samples listed, or with the plan that would be made."""
    if request.POST.get("do") != "plan":
        form.errors.clear()  # nothing is judged while samples are looked for
        return _render(request, member, form, flight, adds=request.POST.get("do") == "add")
    plan: Sequence[str] | None = None
    payload = form.payload() if form.is_valid() else {}
    if not form.errors:
        try:
            preview = preview_flight(member, payload, flight=flight.id if flight is not None else None)
        except Invalid as refused:
            form.show(refused)
        else:
            people = {person.user_id: str(person.user) for person in form.people}
            plan = preview_sentences(preview, people=people, has_pourers=bool(payload["pourers"]))
    return _render(request, member, form, flight, plan=plan)


def _render(  # noqa: PLR0913 - what the page shows
    request: HttpRequest,
    member: Member,
    form: FlightForm,
    flight: FlightItem | None = None,
    *,
    adds: bool = False,
    plan: Sequence[str] | None = None,
) -> HttpResponse:
    chosen = form.chosen()
    searched = _Search(request)
    listed = [sample for sample in form.samples if str(sample.id) not in chosen and searched.takes(sample)]
    if adds:
        room = max(0, MOST_SAMPLES - len(chosen))
        chosen += [str(sample.id) for sample in listed[:room]]
        listed = listed[room:]
    kinds = {str(sample.fields["kind"]) for sample in form.samples if str(sample.id) in chosen}
    hint = protocol_hint(str(form["protocol"].value() or "covered_bowl"), kinds)
    context: dict[str, object] = {
        "form": form,
        "wrong": wrong_fields(form),
        "flight": flight,
        "chosen": _chosen_rows(member, form, chosen),
        "found": [
            {"id": row.id, "name": row.fields["name"], "line": sample_line(row.fields)} for row in listed[:MOST_SAMPLES]
        ],
        "n_more": max(0, len(listed) - MOST_SAMPLES),
        "searched": searched,
        "suppliers": _values_of(form.samples, "supplier"),
        "harvests": sorted({_harvest(sample) for sample in form.samples} - {""}, reverse=True),
        "parts": [form[f"part-{person.user_id}"] for person in form.people],
        "cups": [form[name] for name in ("cups_per_sitting", "sittings", "repeats")],
        "more": [form[name] for name in _MORE],
        "is_open": _uses_more(form) or bool(hint),
        "protocol_hint": hint,
        "weights": [form[name] for name in WEIGHTS],
        "plan": plan,
        "is_tasted": flight is not None and flight.progress.tasted > 0,
    }
    return render(request, "pages/flight_setup.html", context, status=422 if form.errors else 200)


def _chosen_rows(member: Member, form: FlightForm, chosen: Sequence[str]) -> list[dict[str, object]]:
    samples = {str(sample.id): sample for sample in form.samples}
    names, places = names_of_live_lots(member), form.expected_places()
    return [
        {
            "id": lot,
            "name": names.get(lot, ""),
            "line": sample_line(samples[lot].fields) if lot in samples else _("no sample any more"),
            "place": places.get(lot, ""),
        }
        for lot in chosen
    ]


def _uses_more(form: FlightForm) -> bool:
    """Whether the folded part of the form has something to show: a value other than the usual one, or an error."""
    folded = (*_MORE, *WEIGHTS, "expected_order")
    return (
        any(form[name].value() not in ("", None, "covered_bowl") for name in _MORE)
        or any(form.expected_places().values())
        or any(name in form.errors for name in folded)
    )


class _Search:
    """What the samples are searched by."""

    def __init__(self, request: HttpRequest) -> None:
        self.q = request.POST.get("q", "").strip()
        self.supplier, self.harvest = request.POST.get("supplier", ""), request.POST.get("harvest", "")

    def takes(self, sample: Record) -> bool:
        """Whether a sample is one of those looked for."""
        fields = sample.fields
        text = " ".join(
            str(fields.get(name) or "") for name in ("name", "code", "supplier", "garden", "region", "cultivar")
        )
        return (
            all(word in text.casefold() for word in self.q.casefold().split())
            and self.supplier in ("", fields.get("supplier"))
            and self.harvest in ("", _harvest(sample))
        )


def _values_of(samples: Sequence[Record], name: str) -> list[str]:
    return sorted({str(sample.fields[name]) for sample in samples if sample.fields.get(name)}, key=str.casefold)


def _harvest(sample: Record) -> str:
    """Return year and season of a sample's harvest as one choice."""
    return " ".join(str(sample.fields[name]) for name in ("harvest_year", "harvest_season") if sample.fields.get(name))
