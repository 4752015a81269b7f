"""Schemas of the records: each field's kind, unit and limits, declared once.

The declarations give the checks on what a phone sends, the database constraints and the OpenAPI document.
Values are in their wire form (what JSON carries), with numbers, moments and ids made canonical.
"""

import math
import re
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from functools import lru_cache
from unicodedata import normalize
from uuid import UUID

from teams.texts import is_blank


def gettext_noop(message: str) -> str:
    """Mark a message for the catalogue, as Django's function of this name does; `lots.wording` translates it."""
    return message


@dataclass(frozen=True, slots=True)
class Fault:
    """Why a value is not valid: a stable code, and a message of the catalogue with the values of its placeholders."""

    code: str
    message: str
    values: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One field of a record.

    ``kind`` is text, texts, number, integer, truth, date, moment, choice, reference, references or key (a
    descriptor's). ``low`` and ``high`` are inclusive, of references how many there may be; ``above`` is exclusive.
    ``fixed`` fields cannot change once set. ``to`` is the record type a reference names.
    """

    name: str
    kind: str
    required: bool = False
    low: float | None = None
    above: float | None = None
    high: float | None = None
    decimals: int | None = None
    longest: int = 200
    choices: tuple[str, ...] = ()
    pattern: str | None = None
    default: object = None
    fixed: bool = False
    to: str | None = None
    about: str = ""


@dataclass(frozen=True, slots=True)
class RecordSchema:
    """A record type: its fields, the fields the server sets, and the rules that hold between fields."""

    type: str
    fields: tuple[Field, ...]
    server_fields: tuple[str, ...] = ()
    ordered_pairs: tuple[tuple[str, str], ...] = ()  # (low, high): low may not exceed high
    filters: tuple[str, ...] = ()
    is_parent: bool = False  # other records refer to it
    one_required: tuple[str, ...] = ()  # a record must have at least one of these
    one_required_when_new: tuple[str, ...] = ()  # so must a new one; edits of two people may leave it none
    references: tuple[Field, ...] = field(init=False, repr=False, compare=False)
    """Fields that name another record, or a descriptor by its key."""
    fixed: tuple[Field, ...] = field(init=False, repr=False, compare=False)
    required: tuple[str, ...] = field(init=False, repr=False, compare=False)
    _by_name: Mapping[str, Field] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Look up once what each change of a push asks for."""
        lookups = {
            "references": tuple(f for f in self.fields if f.kind == "key" or f.to is not None),
            "fixed": tuple(f for f in self.fields if f.fixed),
            "required": tuple(f.name for f in self.fields if f.required),
            "_by_name": {f.name: f for f in self.fields},
        }
        for name, value in lookups.items():
            object.__setattr__(self, name, value)

    def by_name(self) -> Mapping[str, Field]:
        """Return the fields by name."""
        return self._by_name


class InvalidValue(ValueError):  # noqa: N818 - a value, not a failure of the program
    """A value is not valid for its field; ``fault`` says why."""

    def __init__(self, code: str, message: str, **values: object) -> None:
        super().__init__(message)
        self.fault = Fault(code, message, values)


_CANNOT_BE_STORED = re.compile("[\x00\ud800-\udfff]")


def clean_text(value: object, *, longest: int) -> str:
    """Return the text; raise InvalidValue for another type, a NUL, a lone surrogate or too many characters."""
    if not isinstance(value, str):
        raise InvalidValue("type", gettext_noop("must be a text"))
    if len(value) > longest:
        raise InvalidValue("too_long", gettext_noop("at most %(longest)s characters"), longest=longest)
    if _CANNOT_BE_STORED.search(value):
        raise InvalidValue("characters", gettext_noop("holds a character that cannot be stored"))
    return value


def _composed(value: object, *, longest: int) -> str:
    """Return the text in Unicode's form NFC, so that equal texts from different keyboards are equal."""
    return clean_text(normalize("NFC", value) if isinstance(value, str) else value, longest=longest)


def clean_moment(value: object) -> str:
    """Return an RFC 3339 moment in UTC; raise InvalidValue for one without an offset."""
    return format_utc_short(_moment(value))


def format_utc(at: datetime) -> str:
    """Write a moment as an answer has it: RFC 3339 in UTC, with microseconds unless there are none."""
    return at.astimezone(UTC).isoformat().replace("+00:00", "Z")


def format_utc_short(at: datetime) -> str:
    """Write a moment as a record has it: as `format_utc`, without zeros at the end of its fraction."""
    text = format_utc(at)
    return f"{text[:-1].rstrip('0')}Z" if "." in text else text


_RFC3339 = re.compile(r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:\d\d(\.\d{1,9})?([Zz]|[+-]\d\d:\d\d)", re.ASCII)


def _moment(value: object) -> datetime:
    if not isinstance(value, str) or not _RFC3339.fullmatch(value):
        raise InvalidValue("moment", gettext_noop("must be an RFC 3339 time with its offset, as 2026-03-04T10:11:12Z"))
    try:
        return datetime.fromisoformat(value.upper()).astimezone(UTC)
    except (ValueError, OverflowError) as error:
        raise InvalidValue("moment", gettext_noop("is not a time that exists")) from error


def clean_stamp(value: object) -> str:
    """Return the moment in a fixed width, so that comparing texts compares moments."""
    return format_stamp(_moment(value))


def format_stamp(at: datetime) -> str:
    """Write a moment in UTC in a fixed width, so that comparing texts compares moments."""
    return at.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


@lru_cache(maxsize=8192)
def uuid_of(text: str) -> UUID:
    """Return the UUID of a clean id; a push asks for the same few of them again and again."""
    return UUID(text)


_LOWER_CASE_UUID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", re.ASCII)
_NIL_AND_MAX = frozenset(str(UUID(int=n)) for n in (0, 2**128 - 1))


def clean_id(value: object) -> str:
    """Return a UUID in its lower-case form; RFC 9562's nil and max, which a client sends by mistake, are none."""
    if not isinstance(value, str) or len(value) not in (32, 36):
        raise InvalidValue("id", gettext_noop("must be a UUID"))
    try:
        text = value if _LOWER_CASE_UUID.fullmatch(value) else str(UUID(value))
    except ValueError as error:
        raise InvalidValue("id", gettext_noop("must be a UUID")) from error
    if text in _NIL_AND_MAX:
        raise InvalidValue("id", gettext_noop("must be a UUID that is neither all 0 nor all f"))
    return text


def _is_empty(value: object) -> bool:
    return value is None or (isinstance(value, str) and is_blank(value))


def _text(field: Field, value: object) -> str | None:
    text = _composed(value, longest=field.longest)
    if not text and not field.required:
        return None  # an empty text is stored as null, so that there is one form of "not known"
    if field.required and is_blank(text):
        raise InvalidValue("required", gettext_noop("must not be empty"))
    if field.pattern and not re.fullmatch(field.pattern, text, re.ASCII):
        raise InvalidValue("pattern", gettext_noop("must match %(pattern)s"), pattern=field.pattern)
    return text


def _texts(field: Field, value: object) -> list[str]:
    if not isinstance(value, list) or len(value) > 50:
        raise InvalidValue("type", gettext_noop("must be a list of at most 50 texts"))
    return [_composed(item, longest=field.longest) for item in value]


def _number(field: Field, value: object) -> float | int:
    if isinstance(value, bool) or not isinstance(value, int | float):
        whole, number = gettext_noop("must be a whole number"), gettext_noop("must be a number")
        raise InvalidValue("type", whole if field.kind == "integer" else number)
    if isinstance(value, int) and abs(value) > 2**53:
        raise InvalidValue("range", gettext_noop("is far too large"))
    if not math.isfinite(value):
        raise InvalidValue("type", gettext_noop("must be a finite number"))
    if field.kind == "integer" and value != int(value):
        raise InvalidValue("type", gettext_noop("must be a whole number"))
    if field.low is not None and value < field.low:
        raise InvalidValue("range", gettext_noop("must be at least %(low)s"), low=field.low)
    if field.above is not None and value <= field.above:
        raise InvalidValue("range", gettext_noop("must be more than %(above)s"), above=field.above)
    if field.high is not None and value > field.high:
        raise InvalidValue("range", gettext_noop("must be at most %(high)s"), high=field.high)
    if field.kind == "integer":
        return int(value)
    if field.decimals is not None:
        rounded = round(value, field.decimals)
        if abs(rounded - value) > 1e-9:
            raise InvalidValue("step", gettext_noop("must be in steps of %(step)s"), step=10**-field.decimals)
        value = rounded
    return int(value) if value == int(value) else value


def _truth(_: Field, value: object) -> bool:
    if not isinstance(value, bool):
        raise InvalidValue("type", gettext_noop("must be true or false"))
    return value


def _date(_: Field, value: object) -> str:
    if not isinstance(value, str) or not re.fullmatch(r"\d{4}-\d\d-\d\d", value, re.ASCII):
        raise InvalidValue("date", gettext_noop("must be a date, as 2026-03-04"))
    try:
        return date.fromisoformat(value).isoformat()
    except ValueError as error:
        raise InvalidValue("date", gettext_noop("is not a date that exists")) from error


def _references(field: Field, value: object) -> list[str]:
    low, high = int(field.low or 0), int(field.high or 50)
    if not isinstance(value, list):
        raise InvalidValue("type", gettext_noop("must be a list of ids"))
    ids = [clean_id(item) for item in value]
    if len(set(ids)) != len(ids):
        raise InvalidValue("taken", gettext_noop("names one of them twice"))
    if not low <= len(ids) <= high:
        raise InvalidValue("range", gettext_noop("must be %(low)s to %(high)s ids"), low=low, high=high)
    return ids


def _choice(field: Field, value: object) -> str:
    if not isinstance(value, str) or value not in field.choices:
        raise InvalidValue("choice", gettext_noop("must be one of %(choices)s"), choices=", ".join(field.choices))
    return value


_CLEANERS: Mapping[str, Callable[[Field, object], object]] = {
    "text": _text,
    "key": _text,
    "texts": _texts,
    "number": _number,
    "integer": _number,
    "truth": _truth,
    "date": _date,
    "moment": lambda _, value: clean_moment(value),
    "choice": _choice,
    "reference": lambda _, value: clean_id(value),
    "references": _references,
}


def clean_value(field: Field, value: object) -> object:
    """Return the value in its canonical wire form, null where the field allows it; raise InvalidValue for another."""
    if value is None:
        if field.required:
            raise InvalidValue("required", gettext_noop("must not be null"))
        return [] if field.kind in ("texts", "references") else field.default
    return _CLEANERS[field.kind](field, value)


def query_value(field: Field, text: str) -> object:
    """Return the JSON value that a text in an address means for a field; any other text is returned as it is."""
    if field.kind == "truth":
        return {"true": True, "false": False}.get(text.lower(), text)
    if field.kind in ("number", "integer"):
        with suppress(ValueError):
            return number if math.isfinite(number := float(text)) else text
    return text


def _unknown_field(schema: RecordSchema, name: str) -> Fault:
    if name in schema.server_fields:
        return Fault("read_only", gettext_noop("is set by the server"))
    return Fault("unknown_field", gettext_noop("is not a field of %(type)s records"), {"type": schema.type})


def clean_fields(schema: RecordSchema, sent: Mapping[str, object]) -> tuple[dict[str, object], list[tuple[str, Fault]]]:
    """Check every field; return the clean values and the faults of the others."""
    known = schema.by_name()
    values: dict[str, object] = {}
    faults: list[tuple[str, Fault]] = []
    for name, value in sent.items():
        field = known.get(name)
        if field is None:
            faults.append((name[:80], _unknown_field(schema, name)))
            continue
        try:
            values[name] = clean_value(field, value)
        except InvalidValue as error:
            faults.append((name, error.fault))
    return values, faults


def record_faults(
    schema: RecordSchema, values: Mapping[str, object], *, new: bool = False
) -> Sequence[tuple[str, Fault]]:
    """Return the faults of the record as a whole: missing fields and pairs out of order."""
    faults = [
        (name, Fault("required", gettext_noop("a new record must have this")))
        for name in schema.required
        if values.get(name) is None
    ]
    for alternatives in (schema.one_required, schema.one_required_when_new if new else ()):
        if alternatives and all(_is_empty(values.get(name)) for name in alternatives):
            *others, last = alternatives
            names = {"first": ", ".join(others), "last": last}
            fault = Fault("required", gettext_noop("a new record must have %(first)s or %(last)s"), names)
            faults.append((alternatives[0], fault))
    for low, high in schema.ordered_pairs:
        a, b = values.get(low), values.get(high)
        if isinstance(a, int | float) and isinstance(b, int | float) and a > b:
            faults.append((low, Fault("order", gettext_noop("must not be more than %(high)s"), {"high": high})))
    return faults
