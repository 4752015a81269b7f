"""A taster's scores of their own cups in a flight, by code in the order of serving, on one page."""

from __future__ import annotations

from hashlib import sha256
from typing import TYPE_CHECKING

from django import forms
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.generic import View

from lots.schema import InvalidValue, clean_value
from lots.wording import fault_text
from pages.flights import found_flight
from pages.form_page import number_field
from pages.record_forms import number_in, sentence, wrong_fields
from pages.records import browser_device, usual_pot_fields
from tastings.actions.flights.scoring import store_scores
from tastings.queries.own_scores import own_cups, scores_asked
from tastings.reports.flight_scores import missing_score, score_labels
from tastings.schemas import RECORD_SCHEMAS
from tastings.wording.fields import field_label
from tastings.wording.flights import protocol_sentence, tasting_cautions
from tastings.wording.numbers import number, one_decimal
from teams.errors import Invalid
from teams.queries.people import require_writer

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from uuid import UUID

    from tastings.answers.flights import FlightItem
    from tastings.queries.own_scores import OwnCup
    from teams.models import Member

BREW = ("leaf_g", "vessel_ml")
_BREWS: Mapping[str, Mapping[str, object]] = {
    "covered_bowl": {"leaf_g": 5, "vessel_ml": 110, "vessel_material": "porcelain"},
    "standard_bowl": {"leaf_g": 3, "vessel_ml": 150, "vessel_material": "porcelain"},
}
"""The vessel of each protocol: the bowl of GB/T 23776, the small pot of ISO 3103."""


class ScoresForm(forms.Form):
    """Scores of every cup: a field is named by the cup's code and what is scored, ``412-liking``."""

    def __init__(
        self,
        flight: FlightItem,
        cups: Sequence[OwnCup],
        *,
        brew: Mapping[str, object],
        data: QueryDict | None = None,
    ) -> None:
        self.cups = [cup for cup in cups if cup.elsewhere is None]
        self.labels = score_labels(flight)
        self.scores = scores_asked(flight)
        self.overtaken: set[UUID] = set()
        super().__init__(data)
        if any(not cup.is_stored for cup in self.cups):
            for name in BREW:
                self.fields[name] = number_field(field_label("session", name), initial=number(brew.get(name)))
        for cup in self.cups:
            for score in self.scores:
                attributes = {"inputmode": "decimal", "autocomplete": "off", "maxlength": "5"}
                is_words = score.descriptor is None
                widget = forms.TextInput({"maxlength": 8000} if is_words else attributes)
                self.fields[f"{cup.cup.code}-{score.name}"] = forms.CharField(
                    label=self.labels[score.name],
                    required=False,
                    widget=widget,
                    initial=_text(cup.values.get(score.name)),
                )

    def clean(self) -> dict[str, object]:
        """Check every score as the note's schema does."""
        note, session = RECORD_SCHEMAS["note"].by_name(), RECORD_SCHEMAS["session"].by_name()
        checked = [(name, session[name]) for name in BREW if name in self.fields]
        for cup in self.cups:
            checked += [
                (f"{cup.cup.code}-{score.name}", note["text" if score.descriptor is None else "intensity"])
                for score in self.scores
            ]
        for name, field in checked:
            sent = self.cleaned_data.get(name) or ""
            value: object = sent if field.kind == "text" else number_in(sent)
            try:
                self.cleaned_data[name] = clean_value(field, value) if sent else None
            except InvalidValue as error:
                self.add_error(name, sentence(fault_text(error.fault)))
        return self.cleaned_data

    def written(self) -> dict[UUID, dict[str, float | str | None]]:
        """Return what differs from the stored values, by cup; add an error to a cup that was changed elsewhere."""
        changes: dict[UUID, dict[str, float | str | None]] = {}
        for cup in self.cups:
            names = {score.name: f"{cup.cup.code}-{score.name}" for score in self.scores}
            sent = {name: self.cleaned_data.get(field) for name, field in names.items()}
            changed = {name: value for name, value in sent.items() if value != cup.values.get(name)}
            if changed and self.data.get(f"{cup.cup.code}-seen", cup_digest(cup)) != cup_digest(cup):
                self.overtaken.add(cup.cup.id)
                for name in changed:
                    now = _text(cup.values.get(name)) or "\u2013"
                    self.add_error(names[name], _("Changed meanwhile. Now: %(value)s") % {"value": now})
            elif changed:
                changes[cup.cup.id] = changed
        return changes

    def seen(self, cup: OwnCup) -> str:
        """Return the digest of what is shown of a cup, for the next request to send back."""
        now = cup_digest(cup)
        return now if cup.cup.id in self.overtaken else str(self.data.get(f"{cup.cup.code}-seen", now))

    def brew(self, protocol: str) -> dict[str, object]:
        """Return how the cups were brewed, as sessions have it."""
        return {**_BREWS.get(protocol, {}), **{name: self.cleaned_data[name] for name in BREW if name in self.fields}}

    def show(self, refused: Invalid) -> None:
        """Show what was refused beside its field: ``<cup>.<score>``."""
        codes = {str(own.cup.id): own.cup.code for own in self.cups}
        for problem in refused.problems:
            cup, _dot, name = problem.field.partition(".")
            field = f"{codes[cup]}-{name}" if cup in codes else problem.field
            self.add_error(field if field in self.fields else None, sentence(problem.detail))


class FlightScoresPage(View):
    """The page on which a taster writes scores down."""

    def get(self, request: HttpRequest, flight_id: str) -> HttpResponse:
        """Show the own cups with what is written of them."""
        member, flight = found_flight(request, flight_id)
        cups = own_cups(member, flight)
        return self._render(request, flight, cups, ScoresForm(flight, cups, brew=_brew_of(member, flight)))

    def post(self, request: HttpRequest, flight_id: str) -> HttpResponse:
        """Store what was changed, all of it or nothing."""
        member, flight = found_flight(request, flight_id)
        require_writer(member)
        cups = own_cups(member, flight)
        form = ScoresForm(flight, cups, brew=_brew_of(member, flight), data=request.POST)
        if form.is_valid():
            written = form.written()
            if not form.errors:
                device, now = browser_device(member), timezone.now()
                try:
                    store_scores(member, flight, written, brew=form.brew(flight.protocol), device=device, now=now)
                except Invalid as refused:
                    form.show(refused)
                else:
                    return redirect(f"{reverse('flight-scores', args=[flight.id])}?saved=1")
        return self._render(request, flight, cups, form)

    def _render(
        self, request: HttpRequest, flight: FlightItem, cups: Sequence[OwnCup], form: ScoresForm
    ) -> HttpResponse:
        rows = [
            {
                "cup": cup.cup,
                "elsewhere": cup.elsewhere,
                "seen": form.seen(cup),
                "missing": missing_score(flight, cup),
                "scores": []
                if cup.elsewhere
                else [form[f"{cup.cup.code}-{score.name}"] for score in form.scores if score.descriptor is not None],
                "words": None if cup.elsewhere else form[f"{cup.cup.code}-words"],
            }
            for cup in cups
        ]
        context = {
            "flight": flight,
            "form": form,
            "wrong": wrong_fields(
                form,
                {
                    name: f"{name.partition('-')[0]}: {field.label}"
                    for name, field in form.fields.items()
                    if "-" in name
                },
            ),
            "rows": rows,
            "brew": [form[name] for name in BREW if name in form.fields],
            "protocol": protocol_sentence(flight.protocol, infusions=flight.infusions),
            "saved": "saved" in request.GET and not form.is_bound,
            "is_revealed": flight.revealed_at is not None,
            "n_tasted": sum(cup.cup.tasted for cup in cups),
            "cautions": tasting_cautions(),
        }
        return render(request, "pages/flight_scores.html", context, status=422 if form.errors else 200)


def cup_digest(cup: OwnCup) -> str:
    """Return a short digest of what is stored of a cup."""
    return sha256(repr(sorted(cup.values.items())).encode()).hexdigest()[:12]


def _brew_of(member: Member, flight: FlightItem) -> Mapping[str, object]:
    """Return how the cups are brewed by the protocol, else in the shop's usual pot."""
    return _BREWS.get(flight.protocol) or usual_pot_fields(member) or _BREWS["covered_bowl"]


def _text(value: object) -> str:
    if value is None:
        return ""
    return one_decimal(value) if isinstance(value, float) else str(value)
