"""The form in which a flight is set up or changed: what a browser sends becomes the values that the API takes."""

from __future__ import annotations

from hashlib import sha256
from typing import TYPE_CHECKING
from uuid import uuid4

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext_lazy

from pages.form_page import long_text_field, number_field, set_choices
from pages.record_forms import NOTHING, number_in, sentence
from tastings.figures import to_stored
from tastings.maths.flights.factors import COVERED_BOWL_WEIGHTS, FACTORS
from tastings.schemas import FLIGHT
from tastings.wording.flights import factors
from tastings.wording.labels import TEAS
from tastings.wording.numbers import number
from teams.queries.people import present_members

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from django.http import QueryDict

    from tastings.answers.flights import FlightItem
    from tastings.queries.records import Record
    from teams.errors import Invalid
    from teams.models import Member

OWN = "own"
"""The choice of weights by which a team sets its own."""
WEIGHTS = tuple(f"weight_{name}_pct" for name in FACTORS)
PARTS = {"tastes": "tasters", "pours": "pourers"}
"""The parts that a person may have in a flight, each with the flight's field that lists who has it."""
_PARTS = (
    ("", pgettext_lazy("in a flight", "is not in it")),
    ("tastes", pgettext_lazy("in a flight", "tastes")),
    ("pours", pgettext_lazy("in a flight", "pours")),
)
_PROTOCOLS = (
    ("covered_bowl", gettext_lazy("Covered bowl (oolong), 5 g in 110 ml")),
    ("standard_bowl", gettext_lazy("Standard pot, 2 g for each 100 ml, 6 minutes")),
    ("small_pot", gettext_lazy("Small pot, several infusions")),
)


class FlightForm(forms.Form):
    """All that a buyer sets of a flight, chosen from the team's ``samples``.

    ``known`` are names by id of the lots that may be the reference; the form begins with the values of a flight as the
    API takes them, ``begins_with``.
    """

    base = forms.CharField(required=False, widget=forms.HiddenInput)
    new = forms.UUIDField(required=False, widget=forms.HiddenInput)
    name = forms.CharField(label=gettext_lazy("Name"), required=False, max_length=200, widget=forms.TextInput())
    remarks = long_text_field(gettext_lazy("What it is to decide"), rows=2, max_length=8000)
    cups_per_sitting = number_field(gettext_lazy("Cups in a sitting, at most"))
    sittings = number_field(gettext_lazy("Sittings of each taster"))
    repeats = number_field(gettext_lazy("Hidden duplicates for each taster"))
    protocol = forms.ChoiceField(label=gettext_lazy("How every cup is brewed"), required=False, choices=_PROTOCOLS)
    infusions = number_field(gettext_lazy("Infusions of a small pot"))
    reference = forms.ChoiceField(
        label=gettext_lazy("Known lot, poured once in every sitting"), required=False, choices=[]
    )
    weights_for = forms.ChoiceField(label=gettext_lazy("Judged by"), required=False, choices=[])

    def __init__(
        self,
        member: Member,
        samples: Sequence[Record],
        known: Mapping[str, str],
        *,
        begins_with: Mapping[str, object],
        data: QueryDict | None = None,
    ) -> None:
        self.begins_with, self.samples = begins_with, samples
        self.people = present_members(member)
        super().__init__(data, initial=self._initial())
        set_choices(self, "reference", [("", _("none")), *known.items()])
        weighed = [
            (kind, _("five factors, weighed as for: %(tea)s") % {"tea": TEAS[kind]}) for kind in COVERED_BOWL_WEIGHTS
        ]
        own = (OWN, _("five factors with weights of your own"))
        set_choices(self, "weights_for", [("", _("liking alone, 0 to 10")), *weighed, own])
        for name, label in zip(WEIGHTS, factors(weighted=True), strict=True):
            self.fields[name] = number_field(_("%(factor)s, percent") % {"factor": label})
        for person in self.people:
            known_parts = _PARTS if person.may_write else (_PARTS[0], _PARTS[2])
            self.fields[f"part-{person.user_id}"] = forms.ChoiceField(
                label=str(person.user), required=False, choices=known_parts
            )
        # shown by the template; what is wrong with them stands there
        for name, title in (("lots", _("Samples to choose from")), ("tasters", _("People")), ("pourers", _("People")),
                            ("expected_order", _("Which order do you expect?"))):  # fmt: skip
            self.fields[name] = forms.Field(label=title, required=False, widget=forms.HiddenInput)

    def _initial(self) -> dict[str, object]:
        """Return what the fields begin with."""
        first = self.begins_with
        numbers = ("cups_per_sitting", "sittings", "repeats", "infusions", *WEIGHTS)
        shown = {name: "" if first.get(name) is None else number(float(str(first[name]))) for name in numbers}
        has_own = any(first.get(name) is not None for name in WEIGHTS)
        parts = {f"part-{user}": part for part, name in PARTS.items() for user in self._listed(name)}
        names = ("name", "remarks", "protocol", "reference")
        return {
            **{name: first.get(name) or "" for name in names},
            **shown,
            **parts,
            "weights_for": OWN if has_own else first.get("weights_for") or "",
            "base": flight_digest(first),
            "new": uuid4(),
        }

    def _listed(self, name: str) -> list[str]:
        value = self.begins_with.get(name)
        return [str(item) for item in value] if isinstance(value, list) else []

    def chosen(self) -> list[str]:
        """Return the ids of the samples that are ticked, those that the team still has."""
        ticked = self.data.getlist("lots") if self.is_bound else self._listed("lots")  # type: ignore[attr-defined]
        known = {str(sample.id) for sample in self.samples} | set(self._listed("lots"))
        return [lot for lot in dict.fromkeys(ticked) if lot in known]

    def expected_places(self) -> dict[str, str]:
        """Return what is written beside each chosen sample as its expected place."""
        if not self.is_bound:
            return {lot: str(place) for place, lot in enumerate(self._listed("expected_order"), 1)}
        return {lot: self.data.get(f"place-{lot}", "").strip() for lot in self.chosen()}

    def payload(self) -> dict[str, object]:
        """Return the flight as the API takes it; text that is no number stays text, which the API refuses."""
        sent = self.cleaned_data
        own = sent["weights_for"] == OWN
        return {
            "name": sent["name"],
            "remarks": sent["remarks"] or None,
            "lots": self.chosen(),
            **{name: [user for user, part in self._parts() if PARTS.get(part) == name] for name in PARTS.values()},
            "protocol": sent["protocol"] or "covered_bowl",
            **{name: _value(sent[name]) for name in ("infusions", "cups_per_sitting")},
            "sittings": 1 if not sent["sittings"] else _value(sent["sittings"]),
            "repeats": 0 if not sent["repeats"] else _value(sent["repeats"]),
            "reference": sent["reference"] or None,
            "expected_order": self._expected_order(),
            "weights_for": None if own else sent["weights_for"] or None,
            **{name: _value(sent[name]) if own else None for name in WEIGHTS},
        }

    def _parts(self) -> Iterator[tuple[str, str]]:
        for person in self.people:
            yield str(person.user_id), self.cleaned_data.get(f"part-{person.user_id}", "")

    def _expected_order(self) -> list[str]:
        places = {lot: number_in(text) for lot, text in self.expected_places().items() if text}
        if any(not isinstance(place, int | float) for place in places.values()):
            self.add_error("expected_order", _("A place is a number: 1 is the best."))
            return []
        return sorted(places, key=lambda lot: float(str(places[lot])))

    def changed(self) -> dict[str, object]:
        """Return the values that differ from the form's first ones, as a change of a flight takes them."""
        payload = self.payload()
        different = {
            name: value
            for name, value in payload.items()
            if _comparable(name, value) != _comparable(name, self.begins_with.get(name))
        }
        if different.keys() & {"weights_for", *WEIGHTS}:  # the API takes weights all together
            different |= {name: payload[name] for name in ("weights_for", *WEIGHTS)}
        return different

    def is_overtaken(self) -> bool:
        """Whether somebody changed the flight since the form was shown."""
        return self.data.get("base", "") not in ("", flight_digest(self.begins_with))

    def show_what_changed_meanwhile(self) -> None:
        """Show what stands now beside what would overwrite it; sent once more, the form overwrites it."""
        self.add_error(None, _("Somebody changed this flight meanwhile. Look at the fields below, then save again."))
        for name in self.changed():
            value = self.begins_with.get(name)
            texts = value if isinstance(value, list) else [] if value is None else [value]
            now = ", ".join(self._names().get(str(text), number(text)) for text in texts) or NOTHING
            self.add_error(name, _("Now: %(value)s") % {"value": now})
        self.data = self.data.copy()  # type: ignore[attr-defined]  # of a request, which cannot be changed
        self.data["base"] = flight_digest(self.begins_with)  # type: ignore[index]

    def _names(self) -> dict[str, str]:
        """Return the names of samples and people by id."""
        names = {str(sample.id): str(sample.fields["name"]) for sample in self.samples}
        return names | {str(person.user_id): str(person.user) for person in self.people}

    def show(self, refused: Invalid) -> None:
        """Show what the API refuses beside its fields, samples and people by their names."""
        for problem in refused.problems:
            detail = _how_many(problem.field) if problem.code == "range" else ""
            detail = detail or problem.detail
            for known, name in self._names().items():
                detail = detail.replace(known, name)
            self.add_error(problem.field if problem.field in self.fields else None, sentence(detail))


def _how_many(field: str) -> str:
    """Say how many samples or people may be chosen; empty text for a field that takes no list of them."""
    text = {
        "lots": _("Choose %(low)s to %(high)s samples."),
        "tasters": _("Choose %(low)s to %(high)s people who taste."),
        "pourers": _("Choose at most %(high)s people who pour."),
    }.get(field, "")
    listed = FLIGHT.by_name().get(field)
    return text % {"low": number(listed.low), "high": number(listed.high)} if text and listed else ""


def values_of(flight: FlightItem) -> dict[str, object]:
    """Return a flight's values as the API takes them."""
    stored = to_stored(flight, decimals=None)
    names = ("name", "remarks", "lots", "tasters", "pourers", "protocol", "infusions", "cups_per_sitting", "sittings",
             "repeats", "reference", "expected_order", "weights_for", *WEIGHTS)  # fmt: skip
    return {name: stored[name] for name in names}


def flight_digest(values: Mapping[str, object]) -> str:
    """Return a short digest of a flight's values, the order of samples and people aside."""
    written = sorted((name, repr(_comparable(name, value))) for name, value in values.items())
    return sha256(repr(written).encode()).hexdigest()[:16]


def _comparable(name: str, value: object) -> object:
    """Return a value in a form that can be compared: numbers as numbers, lists without an order sorted."""
    if isinstance(value, list):
        texts = [str(item) for item in value]
        return texts if name == "expected_order" else sorted(texts)
    return float(value) if isinstance(value, int) else value or None


def _value(text: str) -> object:
    return number_in(text) if text else None
