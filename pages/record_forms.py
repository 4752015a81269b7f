"""Forms of records, made from their schemas: what a browser sends becomes the values that a phone would send."""

from __future__ import annotations

import re
from datetime import UTC, tzinfo
from typing import TYPE_CHECKING

from django import forms
from django.utils.formats import get_format
from django.utils.translation import gettext as _

from lots.schema import InvalidValue, clean_value
from lots.wording import fault_text
from pages.local_times import MissingTimeError, missing_time, typed_form, wire_form, zone_name, zone_of_form
from tastings.wording.fields import CHOICES, field_label
from tastings.wording.labels import label
from tastings.wording.numbers import day, day_and_time

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from django.http import QueryDict

    from lots.schema import Fault, Field, RecordSchema
    from teams.errors import Problem

    Options = Mapping[str, Mapping[str, str]]
    """Labels of the records that a reference may name, by field and id."""

NOTHING = "\u2013"
"""Written where there is no value."""
_LONG = 1000
_MINUTES = re.compile(r"(\d{1,3}):([0-5]\d)", re.ASCII)
_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?", re.ASCII)


class RecordForm(forms.Form):
    """Some fields of a record; each value is checked by the record's schema, so that a page refuses what a push does.

    The fields ``names`` are shown in this order; a reference without ``options`` to choose from is not shown.
    ``values`` are the record's in wire form, or those that a new one begins with.
    """

    revision = forms.CharField(required=False, widget=forms.HiddenInput)
    time_zone = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(
        self,
        schema: RecordSchema,
        names: Sequence[str],
        *,
        options: Options,
        values: Mapping[str, object],
        data: QueryDict | None = None,
    ) -> None:
        self.schema, self.options, self.values = schema, options, values
        self.zone = zone_of_form(data.get("time_zone") if data else None)
        self.shown = [schema.by_name()[name] for name in names]
        shown = {field.name: form_value(field, values.get(field.name), self.zone) for field in self.shown}
        super().__init__(data, initial={**shown, "time_zone": str(self.zone)})
        for field in self.shown:
            self.fields[field.name] = self._form_field(field)
        if all(field.kind != "moment" for field in self.shown):
            del self.fields["time_zone"]

    def clean(self) -> dict[str, object]:
        """Turn what was sent into wire values; what the schema refuses is shown beside its field."""
        for field in self.shown:
            sent = self.cleaned_data.get(field.name)
            if field.name in self.values and sent == self.initial[field.name]:
                self.cleaned_data[field.name] = self.values[field.name]  # as it is, seconds included
                continue
            try:
                self.cleaned_data[field.name] = clean_value(field, self._wire_value(field, sent))
            except InvalidValue as error:
                self.add_error(field.name, _fault_sentence(field, error.fault))
            except MissingTimeError:
                self.add_error(field.name, missing_time(self.zone))
        return self.cleaned_data

    def changed(self) -> dict[str, object]:
        """Return the fields whose value is another than the record's."""
        return {
            field.name: self.cleaned_data[field.name]
            for field in self.shown
            if self.cleaned_data[field.name] != self.values.get(field.name, field.default)
        }

    def _wire_value(self, field: Field, sent: object) -> object:
        if field.kind == "moment" and sent:
            return wire_form(str(sent), self.zone, stands=self.values.get(field.name))
        return _wire_value(field, sent)

    def _form_field(self, field: Field) -> forms.Field:
        name = field_label(self.schema.type, field.name)
        extra: dict[str, object] = {"required": True} if field.required else {}
        match field.kind:
            case "choice" | "reference" | "truth":
                if field.kind == "truth" and field.default is not None:
                    return forms.BooleanField(label=name, required=False)
                return forms.ChoiceField(
                    label=name, required=False, choices=self._choices(field), widget=forms.Select(extra)
                )
            case "key":
                return forms.ChoiceField(label=name, required=False, choices=self._choices(field))
            case "date" | "moment":
                kind = "date" if field.kind == "date" else "datetime-local"
                widget: forms.Widget = forms.TextInput({"type": kind, **extra})
                if field.kind == "moment":
                    in_zone = _("Time in %(zone)s") % {"zone": zone_name(self.zone)}
                    return forms.CharField(label=name, required=False, widget=widget, help_text=in_zone)
            case "number" | "integer":
                mode = "numeric" if field.kind == "integer" else "decimal"
                widget = forms.TextInput({"inputmode": mode, "autocomplete": "off", **extra})
                if _is_time(field):
                    minutes = _("Or in minutes, as 1:30")
                    return forms.CharField(label=name, required=False, widget=widget, help_text=minutes)
            case _ if field.name == "country":
                return forms.ChoiceField(label=name, required=False, choices=self._choices(field))
            case _ if field.longest > _LONG:
                widget = forms.Textarea({"rows": 3, "maxlength": field.longest})
            case _:
                widget = forms.TextInput({"maxlength": field.longest, **extra} if field.kind == "text" else extra)
        return forms.CharField(label=name, required=False, widget=widget, strip=True)

    def _choices(self, field: Field) -> list[tuple[str, str]]:
        """Return the choices: the empty one first, where the field may be empty; always the present value."""
        if field.kind == "truth":
            known: Mapping[str, object] = {"true": _("yes"), "false": _("no")}
        elif field.name in self.options:
            known = self.options[field.name]
        else:
            known = CHOICES[field.name]
        listed = [(code, str(known[code])) for code in field.choices or known if code in known]
        if field.name == "country":
            listed.sort(key=lambda item: item[1])
        now = str(form_value(field, self.values.get(field.name), self.zone))
        if now and now not in dict(listed):
            listed.append((now, value_text(field, self.values.get(field.name), self.options)))
        nothing = [] if field.required and now else [("", NOTHING)]
        return [*nothing, *listed]


def _fault_sentence(field: Field, fault: Fault) -> str:
    if field.name == "currency" and fault.code == "pattern":
        return _("Three letters, as in EUR.")
    return sentence(fault_text(fault))


def wrong_fields(form: forms.Form, names: Mapping[str, str] | None = None) -> list[tuple[str, str]]:
    """Return where the fields with errors are on the page, and what they are called, or ``names`` call them."""
    return [
        (field.name if field.is_hidden else field.auto_id, (names or {}).get(field.name, str(field.label)))
        for field in form
        if field.errors
    ]


def value_text(field: Field, value: object, options: Options) -> str:
    """Write a value for people.

    >>> value_text(LOT.by_name()["kind"], "black", {}), value_text(LOT.by_name()["quantity_g"], 12.5, {})
    ('Black tea', '12.5')
    """
    if value is None or value in ("", []):
        return NOTHING
    if field.name in options:
        return options[field.name].get(str(value), _("no longer there"))
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, str) and field.name in CHOICES:
        return label(CHOICES[field.name], value)
    match field.kind:
        case "date":
            return day(value)
        case "moment":
            return day_and_time(str(value))
        case _:
            return str(form_value(field, value, UTC))


def width_of(field: Field) -> str:
    """Return how much room a field takes: ``short`` two beside each other on a phone, ``whole`` a line on every screen.

    >>> width_of(LOT.by_name()["quantity_g"]), width_of(LOT.by_name()["remarks"]), width_of(LOT.by_name()["supplier"])
    ('short', 'whole', '')
    """
    if field.kind == "truth" and field.default is not None:
        return ""  # a checkbox beside its label
    if field.kind in ("number", "integer", "choice", "truth", "date") or field.name in ("code", "currency"):
        return "short"
    return "whole" if field.longest > _LONG else ""


def sentence(text: str) -> str:
    """Write a detail of a problem as a sentence of its own."""
    return f"{text[:1].upper()}{text[1:].rstrip('.')}."


def problem_sentence(problem: Problem, labels: Mapping[str, str]) -> str:
    """Write what is wrong as a sentence in which other fields are called by their labels.

    >>> problem_sentence(Problem("low_m", "order", "must not be more than high_m"), {"high_m": "Highest"})
    'Must not be more than “Highest”.'
    """
    text = problem.detail
    if problem.code in ("order", "required"):  # the details that name other fields
        text = re.sub(r"\w+", lambda word: quoted(labels[word[0]]) if word[0] in labels else word[0], text)
    return sentence(text)


def quoted(label: str) -> str:
    """Return a label of a field as it stands in a sentence."""
    return _("“%(label)s”") % {"label": label}


def form_value(field: Field, value: object, zone: tzinfo) -> object:
    """Return a wire value as the form shows it: text, or a truth for a checkbox."""
    if value is None:
        value = field.default
    if field.kind == "truth":
        names: dict[object, str] = {True: "true", False: "false"}
        return value if field.default is not None else names.get(value, "")
    if value is None:
        return ""
    if isinstance(value, list):
        return ", ".join(map(str, value))
    if field.kind == "moment":
        return typed_form(value, zone)
    if field.kind == "number":
        written = f"{value:.{field.decimals}f}" if field.decimals and isinstance(value, int | float) else f"{value}"
        return written.replace(".", str(get_format("DECIMAL_SEPARATOR")))
    return str(value)


def _wire_value(field: Field, sent: object) -> object:
    """Return the wire value of what was typed, chosen or ticked; the schema refuses text of another kind."""
    if field.kind == "truth":
        return {"true": True, "false": False}.get(sent) if isinstance(sent, str) else sent
    text = str(sent or "").replace("\r\n", "\n")
    if field.kind == "texts":
        return [part.strip() for part in text.split(",") if part.strip()]
    if not text:
        return None
    match field.kind:
        case "number" | "integer":
            return seconds_in(text) if _is_time(field) else number_in(text)
        case _ if field.name == "currency":
            return text.upper()
        case _:
            return text


def _is_time(field: Field) -> bool:
    """Whether a field is a length of time in seconds."""
    return field.kind == "number" and field.name.endswith("_s")


def seconds_in(text: str) -> object:
    """Return the seconds that were typed, as such or as minutes and seconds; else the text.

    >>> seconds_in("90"), seconds_in("1:30"), seconds_in("0:07"), seconds_in("1:75"), seconds_in("soon")
    (90, 90, 7, '1:75', 'soon')
    """
    minutes = _MINUTES.fullmatch(text.strip())
    return 60 * int(minutes[1]) + int(minutes[2]) if minutes else number_in(text)


def number_in(text: str) -> object:
    """Return the number that was typed, with a decimal comma or point; else the text.

    >>> number_in("12,5"), number_in("1.250,50"), number_in("1,250.5"), number_in("3"), number_in("much")
    (12.5, 1250.5, 1250.5, 3, 'much')
    """
    plain = re.sub(r"[\s\u00a0\u202f']", "", text)
    if "," in plain and "." in plain:
        thousands = "." if plain.rindex(",") > plain.rindex(".") else ","
        plain = plain.replace(thousands, "")
    plain = plain.replace(",", ".").replace("\u2212", "-")
    if not _NUMBER.fullmatch(plain):
        return text
    value = float(plain)
    return int(value) if value == int(value) and abs(value) < 2**53 else value
