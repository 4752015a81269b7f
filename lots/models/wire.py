"""Between a record's columns and the values that travel in JSON."""

from datetime import UTC, date, datetime
from decimal import Decimal
from uuid import UUID

from lots.shape import Field, clean_moment


def column_of(field: Field) -> str:
    """Return the attribute that holds the field: a reference is held by its id."""
    return f"{field.name}_id" if field.kind in ("reference", "key") else field.name


def to_column(field: Field, value: object) -> object:
    """Turn a clean wire value into what the column holds."""
    if value is None:
        return "" if field.kind in ("text", "choice") else [] if field.kind == "texts" else None
    match field.kind:
        case "reference":
            return UUID(str(value))
        case "date":
            return date.fromisoformat(str(value))
        case "moment":
            return datetime.fromisoformat(str(value))
        case _:
            return value


def to_wire(held: object) -> object:
    """Turn what a column holds into its wire value, the same one that `lots.shape.clean` gives."""
    match held:
        case None | "":
            return None
        case datetime():
            return clean_moment(held.astimezone(UTC).isoformat())
        case date():
            return held.isoformat()
        case UUID():
            return str(held)
        case bool():
            return held
        case Decimal() | float():
            number = float(held)
            return int(number) if number.is_integer() else number
        case list() if not held:
            return None
        case _:
            return held
