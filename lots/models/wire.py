"""Between a record's columns and the values that travel in JSON."""

from collections.abc import Callable, Mapping
from typing import Any

from lots.schema import Field, short_utc_text


def column_of(field: Field) -> str:
    """Return the attribute that holds the field: a reference is held by its id."""
    return f"{field.name}_id" if field.kind in ("reference", "key") else field.name


def stored(field: Field, value: object) -> object:
    """Return the wire form of what a column holds: nothing said is an empty text, list or null, or the default."""
    if value is not None:
        return value
    if field.default is not None:
        return field.default
    return "" if field.kind in ("text", "choice") else [] if field.kind == "texts" else None


def _number(held: Any) -> object:  # noqa: ANN401 - float, Decimal, int or None
    if held is None:
        return None
    number = float(held)
    return int(number) if number.is_integer() else number


TO_WIRE: Mapping[str, Callable[[Any], object]] = {
    "text": lambda held: held or None,
    "choice": lambda held: held or None,
    "key": lambda held: held,
    "texts": list,
    "number": _number,
    "integer": lambda held: held,
    "truth": lambda held: held,
    "date": lambda held: held and held.isoformat(),
    "moment": lambda held: held and short_utc_text(held),
    "reference": lambda held: held and str(held),
}
"""By a field's kind: from what its column holds to its wire value, the same one that `lots.schema.clean` gives."""
