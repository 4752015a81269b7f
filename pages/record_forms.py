"""Forms of records, made from their schemas: what a browser sends becomes the values that a phone would send."""

from __future__ import annotations

import re
from datetime import UTC, tzinfo
from typing import TYPE_CHECKING, Any

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
    from collections.abc import Iterable, Mapping, Sequence

    from lots.schema import Field, RecordSchema
    from teams.errors import Problem

    Options = Mapping[str, Mapping[str, str]]
    """Labels of the records that a reference may name, by field and id."""

NOTHING = "\u2013"
"""Written where there is no value."""
_LONG = 1000
_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?", re.ASCII)


class RecordForm(forms.Form):
    """Some fields of a record; each value is checked by the record's schema, so that a page refuses what a push does.

    Parameters
    ----------
    schema
        Of the record.
    names
        The fields that are shown, in order.
    options
        What references may name. A reference without options is not shown.
    values
        The record's values in wire form, or those that a new one begins with.
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
        data: Any = None,  # noqa: ANN401 - Django's form data
    ) -> None:
        self.schema, self.options, self.values = schema, options, values
        self.zone = zone_of_form(data.get("time_zone") if data else None)
        self.shown = [schema.by_name()[name] for name in names]
        shown = {one.name: _form_value(one, values.get(one.name), self.zone) for one in self.shown}
        super().__init__(data, initial={**shown, "time_zone": str(self.zone)})
        for one in self.shown:
            self.fields[one.name] = self._form_field(one)
        if all(one.kind != "moment" for one in self.shown):
            del self.fields["time_zone"]

    def clean(self) -> dict[str, Any]:
        """Turn what was sent into wire values; what the schema refuses is shown beside its field."""
        for one in self.shown:
            sent = self.cleaned_data.get(one.name)
            if one.name in self.values and sent == self.initial[one.name]:
                self.cleaned_data[one.name] = self.values[one.name]  # as it is, seconds included
                continue
            try:
                self.cleaned_data[one.name] = clean_value(one, self._wire_value(one, sent))
            except InvalidValue as error:
                self.add_error(one.name, sentence(fault_text(error.fault)))
            except MissingTimeError:
                self.add_error(one.name, missing_time(self.zone))
        return self.cleaned_data

    def changed(self) -> dict[str, object]:
        """Return the fields whose value is another than the record's."""
        return {
            one.name: self.cleaned_data[one.name]
            for one in self.shown
            if self.cleaned_data[one.name] != self.values.get(one.name, one.default)
        }

    def add_problems(self, problems: Iterable[Problem]) -> None:
        """Show why a push refused the record, beside the fields concerned."""
        for problem in problems:
            self.add_error(problem.field if problem.field in self.fields else None, sentence(problem.detail))

    def _wire_value(self, one: Field, sent: Any) -> object:  # noqa: ANN401 - text, or a truth from a checkbox
        if one.kind == "moment" and sent:
            return wire_form(sent, self.zone, stands=self.values.get(one.name))
        return _wire_value(one, sent)

    def _form_field(self, one: Field) -> forms.Field:
        name = field_label(self.schema.type, one.name)
        attributes: dict[str, Any] = {"required": True} if one.required else {}
        match one.kind:
            case "choice" | "reference" | "truth":
                if one.kind == "truth" and one.default is not None:
                    return forms.BooleanField(label=name, required=False)
                return forms.ChoiceField(
                    label=name, required=False, choices=self._choices(one), widget=forms.Select(attributes)
                )
            case "key":
                return forms.ChoiceField(label=name, required=False, choices=self._choices(one))
            case "date" | "moment":
                kind = "date" if one.kind == "date" else "datetime-local"
                widget: forms.Widget = forms.TextInput({"type": kind, **attributes})
                if one.kind == "moment":
                    in_zone = _("Time in %(zone)s") % {"zone": zone_name(self.zone)}
                    return forms.CharField(label=name, required=False, widget=widget, help_text=in_zone)
            case "number" | "integer":
                mode = "numeric" if one.kind == "integer" else "decimal"
                widget = forms.TextInput({"inputmode": mode, "autocomplete": "off", **attributes})
            case _ if one.name == "country":
                return forms.ChoiceField(label=name, required=False, choices=self._choices(one))
            case _ if one.longest > _LONG:
                widget = forms.Textarea({"rows": 3, "maxlength": one.longest})
            case _:
                widget = forms.TextInput({"maxlength": one.longest, **attributes} if one.kind == "text" else attributes)
        return forms.CharField(label=name, required=False, widget=widget, strip=True)

    def _choices(self, one: Field) -> list[tuple[str, str]]:
        """Return the choices: the empty one first, where the field may be empty; always the present value."""
        if one.kind == "truth":
            known: Mapping[str, object] = {"true": _("yes"), "false": _("no")}
        elif one.name in self.options:
            known = self.options[one.name]
        else:
            known = CHOICES[one.name]
        listed = [(code, str(known[code])) for code in one.choices or known if code in known]
        if one.name == "country":
            listed.sort(key=lambda item: item[1])
        now = _form_value(one, self.values.get(one.name), self.zone)
        if now and now not in dict(listed):
            listed.append((now, value_text(one, self.values.get(one.name), self.options)))
        nothing = [] if one.required and now else [("", NOTHING)]
        return [*nothing, *listed]


def wrong_fields(form: forms.Form, names: Mapping[str, str] | None = None) -> list[tuple[str, str]]:
    """Return where the fields with errors are on the page, and what they are called, or ``names`` call them."""
    return [
        (field.name if field.is_hidden else field.auto_id, (names or {}).get(field.name, str(field.label)))
        for field in form
        if field.errors
    ]


def value_text(one: Field, value: object, options: Options) -> str:
    """Write a value for people.

    Examples
    --------
    >>> value_text(LOT.by_name()["kind"], "black", {}), value_text(LOT.by_name()["quantity_g"], 12.5, {})
    ('Black tea', '12.5')
    """
    if value is None or value in ("", []):
        return NOTHING
    if one.name in options:
        return options[one.name].get(str(value), _("no longer there"))
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, str) and one.name in CHOICES:
        return label(CHOICES[one.name], value)
    match one.kind:
        case "date":
            return day(value)
        case "moment":
            return day_and_time(str(value))
        case _:
            return str(_form_value(one, value, UTC))


def width_of(one: Field) -> str:
    """Return how much room a field takes: ``short`` two beside each other on a phone, ``whole`` a line on every screen.

    Examples
    --------
    >>> width_of(LOT.by_name()["quantity_g"]), width_of(LOT.by_name()["remarks"]), width_of(LOT.by_name()["supplier"])
    ('short', 'whole', '')
    """
    if one.kind == "truth" and one.default is not None:
        return ""  # a checkbox beside its label
    if one.kind in ("number", "integer", "choice", "truth", "date") or one.name in ("code", "currency"):
        return "short"
    return "whole" if one.longest > _LONG else ""


def sentence(text: str) -> str:
    """Write a detail of a problem as a sentence of its own."""
    return f"{text[:1].upper()}{text[1:].rstrip('.')}."


def _form_value(one: Field, value: object, zone: tzinfo) -> Any:  # noqa: ANN401 - text, or a truth for a checkbox
    """Return a wire value as the form shows it."""
    if value is None:
        value = one.default
    if one.kind == "truth":
        return value if one.default is not None else {True: "true", False: "false"}.get(value, "")  # type: ignore[call-overload]
    if value is None:
        return ""
    if isinstance(value, list):
        return ", ".join(map(str, value))
    if one.kind == "moment":
        return typed_form(value, zone)
    if one.kind == "number":
        written = f"{value:.{one.decimals}f}" if one.decimals and isinstance(value, int | float) else f"{value}"
        return written.replace(".", str(get_format("DECIMAL_SEPARATOR")))
    return str(value)


def _wire_value(one: Field, sent: Any) -> object:  # noqa: ANN401 - text, or a truth from a checkbox
    """Return the wire value of what was typed or chosen; the schema refuses text of another kind."""
    if one.kind == "truth":
        return {"true": True, "false": False}.get(sent) if isinstance(sent, str) else sent
    text = (sent or "").replace("\r\n", "\n")
    if one.kind == "texts":
        return [part.strip() for part in text.split(",") if part.strip()]
    if not text:
        return None
    match one.kind:
        case "number" | "integer":
            return number_in(text)
        case _ if one.name == "currency":
            return text.upper()
        case _:
            return text


def number_in(text: str) -> object:
    """Return the number that was typed, with a decimal comma or point; else the text.

    Examples
    --------
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
    found = float(plain)
    return int(found) if found == int(found) and abs(found) < 2**53 else found
