"""Values in the query of an address, as the fields of records take them."""

import math

from lots.schema import Field


def query_value(field: Field, text: str) -> object:
    """Return the JSON value that a text in the query means for a field; any other text is returned as it is."""
    if field.kind == "truth":
        return {"true": True, "false": False}.get(text.lower(), text)
    if field.kind in ("number", "integer"):
        try:
            number = float(text)
        except ValueError:
            return text
        return number if math.isfinite(number) else text
    return text
