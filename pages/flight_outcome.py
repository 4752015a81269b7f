"""What comes of a flight: its reveal, and the decision on what is bought."""

from __future__ import annotations

from typing import TYPE_CHECKING
from uuid import UUID, uuid4

from django import forms
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext_lazy
from django.views.generic import View

from pages.flights import found_flight
from pages.form_page import add_problems, long_text_field, number_field
from pages.record_forms import number_in, sentence, wrong_fields
from pages.records import browser_device
from tastings.actions.flights.deciding import decide_flight
from tastings.actions.flights.revealing import reveal_flight
from tastings.errors import WrongState
from tastings.queries.flight_answers import answer_of_flight
from tastings.queries.flights import flight_row, must_decide
from tastings.queries.records import list_records
from tastings.reports.flight_answers import answer_section
from tastings.reports.flight_setup import sample_line
from tastings.reports.flights import missing_cups
from tastings.wording.flights import flight_is
from tastings.wording.numbers import number
from teams.errors import Invalid
from teams.queries.people import names_of_members

if TYPE_CHECKING:
    from collections.abc import Sequence

    from tastings.answers.flights import FlightItem
    from tastings.queries.records import Record
    from teams.models import Member

_MOST_LOTS = 2000


class RevealForm(forms.Form):
    """Why a flight is revealed before every cup was tasted."""

    reason = long_text_field(gettext_lazy("Why now, before every cup is tasted?"), rows=3, max_length=2000)


class Reveal(View):
    """The page on which a flight is revealed."""

    def get(self, request: HttpRequest, flight_id: str) -> HttpResponse:
        """Say what the reveal does, and who is still missing."""
        member, flight = _found(request, flight_id)
        if flight.state not in ("set_up", "tasting"):
            return redirect("flight", flight.id)
        return self._render(request, member, flight, RevealForm())

    def post(self, request: HttpRequest, flight_id: str) -> HttpResponse:
        """Reveal it, once and for all."""
        member, flight = _found(request, flight_id)
        form = RevealForm(request.POST)
        if form.is_valid():
            reason = form.cleaned_data["reason"].strip()
            try:
                reveal_flight(member, flight=flight.id, reason=reason, now=timezone.now())
            except Invalid as refused:
                add_problems(form, refused.problems)
            else:
                return redirect("flight", flight.id)
        return self._render(request, member, flight, form)

    def _render(self, request: HttpRequest, member: Member, flight: FlightItem, form: RevealForm) -> HttpResponse:
        people = names_of_members(member)
        context = {"flight": flight, "form": form, "missing": missing_cups(flight, people=people)}
        return render(request, "pages/flight_reveal.html", context, status=422 if form.errors else 200)


_LOT_FIELDS = ("quantity_g", "price_per_kg", "currency")


class DecisionForm(forms.Form):
    """Which samples are bought, how much of each and at which price, and why.

    Fields of a sample are named by its place in the list: a sample is ``buy-0``.
    """

    reason = long_text_field(gettext_lazy("Why? It is kept for next year."), rows=3, max_length=8000)

    def __init__(self, samples: Sequence[Record], data: QueryDict | None = None) -> None:
        super().__init__(data)
        self.samples = samples
        for i, sample in enumerate(samples):
            price = sample.fields.get("price_per_kg")
            self.fields[f"buy-{i}"] = forms.BooleanField(label=str(sample.fields["name"]), required=False)
            self.fields[f"quantity_g-{i}"] = number_field(gettext_lazy("Grams"))
            self.fields[f"price_per_kg-{i}"] = number_field(
                gettext_lazy("Price per kg"), initial="" if price is None else number(float(str(price)))
            )
            self.fields[f"currency-{i}"] = forms.CharField(
                label=gettext_lazy("Currency"),
                required=False,
                widget=forms.TextInput({"maxlength": 3, "autocapitalize": "characters"}),
                initial=sample.fields.get("currency") or "",
            )

    def ticked(self) -> list[int]:
        """Return the places of the samples that are bought."""
        return [i for i in range(len(self.samples)) if self.cleaned_data.get(f"buy-{i}")]

    def payload(self) -> dict[str, object]:
        """Return the decision as the API takes it."""
        sent = self.cleaned_data
        return {
            "reason": sent["reason"],
            "chosen": [
                {
                    "lot": str(self.samples[i].id),
                    "bought": str(uuid4()),
                    "quantity_g": number_in(sent[f"quantity_g-{i}"]) if sent[f"quantity_g-{i}"] else None,
                    "price_per_kg": number_in(sent[f"price_per_kg-{i}"]) if sent[f"price_per_kg-{i}"] else None,
                    "currency": sent[f"currency-{i}"].upper() or None,
                }
                for i in self.ticked()
            ],
        }

    def show(self, refused: Invalid) -> None:
        """Show what the API refuses beside its field: ``chosen.1.quantity_g`` is of the second one ticked."""
        ticked = self.ticked()
        for problem in refused.problems:
            _chosen, _dot, rest = problem.field.partition(".")
            place, _dot, name = rest.partition(".")
            field = f"{name}-{ticked[int(place)]}" if place.isdigit() and name in _LOT_FIELDS else problem.field
            self.add_error(field if field in self.fields else None, sentence(problem.detail))


class Decision(View):
    """The page on which a revealed flight is decided."""

    def get(self, request: HttpRequest, flight_id: str) -> HttpResponse:
        """Show the samples, those first that the answer has first."""
        member, flight = _found(request, flight_id)
        if flight.state == "decided":
            return redirect("flight", flight.id)
        return self._render(request, member, flight, DecisionForm(self._samples(member, flight)))

    def post(self, request: HttpRequest, flight_id: str) -> HttpResponse:
        """Store what was chosen and make the bought lots."""
        member, flight = _found(request, flight_id)
        form = DecisionForm(self._samples(member, flight), request.POST)
        if form.is_valid():
            try:
                decide_flight(
                    member, flight=flight.id, payload=form.payload(), device=browser_device(member), now=timezone.now()
                )
            except Invalid as refused:
                form.show(refused)
            else:
                return redirect("flight", flight.id)
        return self._render(request, member, flight, form)

    def _samples(self, member: Member, flight: FlightItem) -> list[Record]:
        """Return the candidates in the order of the answer, then by name."""
        if flight.revealed_at is None:
            raise WrongState(flight_is(flight.state))
        answer = answer_of_flight(flight_row(member, flight.id))
        ranked: list[UUID] = [standing.lot for standing in answer.measures[0].standings] if answer.measures else []
        lots = {lot.id: lot for lot in list_records(member, "lot", filters={}, after=None, limit=_MOST_LOTS)}
        rows = [lots[lot] for lot in {*flight.lots, *ranked} if lot in lots]  # what was taken out may have been tasted
        places = {lot: place for place, lot in enumerate(ranked)}
        return sorted(rows, key=lambda row: (places.get(row.id, len(places)), str(row.fields["name"]).casefold()))

    def _render(self, request: HttpRequest, member: Member, flight: FlightItem, form: DecisionForm) -> HttpResponse:
        answer = answer_of_flight(flight_row(member, flight.id))
        names = {str(sample.id): str(sample.fields["name"]) for sample in form.samples}
        people = names_of_members(member)
        rows = [
            {
                "buy": form[f"buy-{i}"],
                "line": sample_line(sample.fields),
                "fields": [form[f"{name}-{i}"] for name in _LOT_FIELDS],
            }
            for i, sample in enumerate(form.samples)
        ]
        section = answer_section(answer, lots=names, people=people)
        context = {"flight": flight, "form": form, "wrong": wrong_fields(form), "rows": rows, "answer": section}
        return render(request, "pages/flight_decision.html", context, status=422 if form.errors else 200)


def _found(request: HttpRequest, flight_id: str) -> tuple[Member, FlightItem]:
    member, flight = found_flight(request, flight_id)
    must_decide(member)
    return member, flight
