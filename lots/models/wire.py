"""Converts between a record's columns and its values in JSON."""

from collections.abc import Callable, Mapping
from typing import Any

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


def _number(value: Any) -> object:  # noqa: ANN401 - float, Decimal, int or None
    if value is None:
        return None
    number = float(value)
    return int(number) if number.is_integer() else number


TO_WIRE: Mapping[str, Callable[[Any], object]] = {
    "text": lambda value: value or None,
    "choice": lambda value: value or None,
    "key": lambda value: value,
    "texts": list,
    "number": _number,
    "integer": lambda value: value,
    "truth": lambda value: value,
    "date": lambda value: value and value.isoformat(),
    "moment": lambda value: value and format_utc_short(value),
    "reference": lambda value: value and str(value),
}
"""By a field's kind: from what its column holds to its wire value, the one that `lots.schema.clean_value` gives."""
