"""Serializers of request bodies. Their fields validate as `lots.schema` does; errors become problem documents."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any, ClassVar
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from rest_framework import serializers as s
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.fields import SkipField, empty
from rest_framework.request import Request

from api.http.fields import LimitedFloatField
from api.http.openapi import FieldOptions, meaning, step_of
from lots.schema import Field, InvalidValue, clean_id, clean_moment, clean_text, clean_value, gettext_noop
from lots.wording import fault_text, field_problem
from teams.errors import Invalid, Problem

if TYPE_CHECKING:
    from django_stubs_ext import StrOrPromise
    from rest_framework.exceptions import _Detail

MAX_LENGTH = 1000
"""Most characters of a text unless its field sets another limit."""


class StrictField(s.Field[object, object, object, object]):
    """A field that takes one JSON type only; whatever its type, ``required`` is the code of one that must be there."""

    def run_validation(self, data: object = empty) -> object:
        """Return the clean value; null counts as missing in a field that may be null."""
        is_missing = data is empty or (data is None and self.allow_null)
        if is_missing and not self.required:
            raise SkipField
        return self.checked(data)

    def checked(self, value: object) -> object:
        """Return the clean value; raise ValidationError with the code and the sentence of what is wrong."""
        try:
            return self.clean(present(value))
        except InvalidValue as error:
            raise ValidationError(fault_text(error.fault), code=error.fault.code) from error

    def clean(self, value: object) -> object:
        """Return the clean value; raise InvalidValue."""
        raise NotImplementedError


def present(value: object) -> object:
    """Return the value; raise InvalidValue with the code ``required`` for a missing one or null."""
    if value is empty:
        raise InvalidValue("required", gettext_noop("must be there"))
    if value is None:
        raise InvalidValue("required", gettext_noop("must not be null"))
    return value


def whole_number(value: object, *, lowest: int, highest: int) -> int:
    """Return the number, which JSON has without a fraction; raise InvalidValue for another type or one beyond a limit.

    The limits may be more than the 2^53 of a record's fields.
    """
    if isinstance(value, bool) or not isinstance(value, int):
        raise InvalidValue("type", gettext_noop("must be a whole number"))
    if not lowest <= value <= highest:
        message = gettext_noop("must be a whole number from %(lowest)s to %(highest)s")
        raise InvalidValue("range", message, lowest=str(lowest), highest=str(highest))
    return value


class StrictTextField(StrictField, s.CharField):
    """A text as it was sent, spaces included."""

    def clean(self, value: object) -> str:
        """Return the text."""
        text = clean_text(value, longest=self.max_length or MAX_LENGTH)
        if not text and not self.allow_blank:
            raise InvalidValue("required", gettext_noop("must not be empty"))
        return text


class StrictNameField(StrictTextField):
    """A name, without the spaces around it."""

    def clean(self, value: object) -> str:
        """Return the name."""
        return super().clean(value.strip() if isinstance(value, str) else value)


class StrictChoiceField(StrictField, s.ChoiceField):
    """One of a list of words. The action checks which, since the command line uses it too."""

    def clean(self, value: object) -> str:
        """Return the choice."""
        choice = clean_text(value, longest=MAX_LENGTH)
        if not choice:
            raise InvalidValue("required", gettext_noop("must not be empty"))
        return choice


class StrictIdField(StrictField, s.UUIDField):
    """A UUID."""

    def clean(self, value: object) -> UUID:
        """Return the id."""
        return UUID(clean_id(value))


class StrictDateTimeField(StrictField, s.DateTimeField):
    """An RFC 3339 time with its offset."""

    def clean(self, value: object) -> datetime:
        """Return the moment in UTC."""
        return datetime.fromisoformat(clean_moment(value))


class StrictRevisionField(StrictField, s.IntegerField):
    """The revision of a record: a count of the team's commits, from 1."""

    def __init__(self, *, help_text: str) -> None:
        super().__init__(min_value=1, max_value=2**63 - 1, help_text=help_text)

    def clean(self, value: object) -> int:
        """Return the revision."""
        return whole_number(value, lowest=1, highest=2**63 - 1)


class OfRecord(StrictField):
    """A value of a record's field, checked by the record's schema; null is allowed where the field allows it."""

    of: Field

    def run_validation(self, data: object = empty) -> object:
        """Return the clean value; a field that may be null may also be left out."""
        if data is None and self.allow_null:
            return clean_value(self.of, None)
        return super().run_validation(data)

    def clean(self, value: object) -> object:
        """Return the value as `lots.schema.clean_value` does."""
        return clean_value(self.of, value)


def _as_in_record(of: Field, *, help_text: str) -> FieldOptions:
    return {"required": of.required, "allow_null": not of.required, "help_text": help_text or meaning(of)}


class Number(OfRecord, LimitedFloatField):
    """A number as a field of a record has it."""

    def __init__(self, of: Field, *, help_text: str = "") -> None:
        limits = {"min_value": of.low, "max_value": of.high, "above": of.above, "step": step_of(of)}
        super().__init__(**_as_in_record(of, help_text=help_text), **limits)
        self.of = of


class Key(OfRecord, s.CharField):
    """A descriptor's key as a field of a record has it."""

    def __init__(self, of: Field, *, help_text: str = "") -> None:
        super().__init__(**_as_in_record(of, help_text=help_text), max_length=of.longest)
        self.of = of


class StrictBooleanField(StrictField, s.BooleanField):
    """True or false."""

    def clean(self, value: object) -> bool:
        """Return the truth value."""
        if not isinstance(value, bool):
            raise InvalidValue("type", gettext_noop("must be true or false"))
        return value


def body_of(request: Request) -> dict[str, object]:
    """Return the body, which must be an object."""
    if not isinstance(request.data, dict):
        raise Invalid(problems=[Problem("", "type", _("the body must be an object"))])
    return dict(request.data)


def take_id(sent: dict[str, object], name: str = "id") -> UUID:
    """Take the id out of a body; raise Invalid for none."""
    try:
        return UUID(clean_id(present(sent.pop(name, empty))))
    except InvalidValue as error:
        raise Invalid(problems=[field_problem(name, error.fault)]) from error


class BodySerializer(s.Serializer[object]):
    """A request body; undeclared fields are refused, as in every body of the API."""

    unknown: ClassVar[StrOrPromise] = gettext_lazy("is not part of this body")
    """The error text of an undeclared field."""


class Part(BodySerializer):
    """An object within a body."""

    expected: ClassVar[StrOrPromise] = ""
    """What the value must be, as the sentence of the error."""

    def run_validation(self, data: object = empty) -> object:
        """Return the clean values; what is wrong within is named by field, an unknown one by its first 40 letters."""
        is_missing = data is empty or data is None
        if is_missing or not isinstance(data, Mapping):
            raise ValidationError(str(self.expected), code="required" if is_missing else "type")
        unknown = ValidationError(str(self.unknown), code="unknown_field").detail
        errors: dict[str, _Detail] = {name[:40]: unknown for name in data if name not in self.fields}
        try:
            values = super().run_validation(data)
        except ValidationError as error:
            errors |= dict(error.detail) if isinstance(error.detail, Mapping) else {"": error.detail}
            raise ValidationError(errors) from error
        if errors:
            raise ValidationError(errors)
        return values


class Parts(StrictField, s.ListField):
    """A list of objects, at least one."""

    def clean(self, value: object) -> list[object]:
        """Return the clean objects."""
        if not isinstance(value, list) or not 1 <= len(value) <= (self.max_length or MAX_LENGTH):
            raise InvalidValue("type", gettext_noop("must be a list of 1 to %(most)s objects"), most=self.max_length)
        return list(self.run_child_validation(value))


def validated_body(request: Request, body: type[BodySerializer]) -> dict[str, Any]:  # as Django REST framework has it
    """Return the clean values of a body; raise Invalid naming every field that is wrong."""
    sent = body_of(request)
    checked = body(data=sent)
    names = (name for name in sent if name not in checked.fields)
    problems = [Problem(name[:80], "unknown_field", str(body.unknown)) for name in names]
    if not checked.is_valid():
        problems += flatten_errors(checked.errors)
    if problems:
        raise Invalid(problems=problems)
    return dict(checked.validated_data)


def flatten_errors(errors: object, prefix: str = "") -> Iterator[Problem]:
    """Yield a serializer's errors as problems; nested fields are named like ``chosen.0.lot``."""
    match errors:
        case ErrorDetail():
            yield Problem(prefix, str(errors.code), str(errors))
        case Mapping():
            for name, inner in errors.items():
                yield from flatten_errors(inner, f"{prefix}.{name}" if prefix else str(name))
        case Sequence():
            for i, inner in enumerate(errors):
                yield from flatten_errors(inner, prefix if isinstance(inner, ErrorDetail) else f"{prefix}.{i}")
        case _:
            raise TypeError(f"no errors of a serializer: {errors!r}")
