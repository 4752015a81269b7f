"""Converts between a record's columns and its values in JSON."""

from collections.abc import Callable, Mapping
from datetime import date, datetime
from decimal import Decimal

from lots.schema import Field, format_utc_short


def column_name(field: Field) -> str:
    """Return the attribute that holds the field: of a reference its id."""
    return f"{field.name}_id" if field.kind in ("reference", "key") else field.name


def column_value(field: Field, value: object) -> object:
    """Return a value as its column holds it, in wire form: null becomes the default, an empty text or an empty list."""
    if value is not None:
        return value
    if field.default is not None:
        return field.default
    return "" if field.kind in ("text", "choice") else [] if field.kind == "texts" else None


def _number(value: object) -> object:
    if value is None:
        return None
    number = float(value if isinstance(value, (float, Decimal, int)) else str(value))
    return int(number) if number.is_integer() else number


def _texts(value: object) -> object:
    if not isinstance(value, (list, tuple)):
        raise TypeError(f"{value!r} is no list of texts")
    return list(value)


TO_WIRE: Mapping[str, Callable[[object], object]] = {
    "text": lambda value: value or None,
    "choice": lambda value: value or None,
    "key": lambda value: value,
    "texts": _texts,
    "number": _number,
    "integer": lambda value: value,
    "truth": lambda value: value,
    "date": lambda value: value.isoformat() if isinstance(value, date) else value,
    "moment": lambda value: format_utc_short(value) if isinstance(value, datetime) else value,
    "reference": lambda value: value and str(value),
}
"""By a field's kind: from what its column holds to its wire value, the one that `lots.schema.clean_value` gives."""
