"""For any field of a schema: values just inside its limits, and values outside them with the code of each."""

import math

from lots.schema import Field
from tastings.schemas import RECORD_SCHEMAS

FIELDS = [(schema.type, field) for schema in RECORD_SCHEMAS.values() for field in schema.fields]
FIELD_NAMES = [f"{type_name}.{field.name}" for type_name, field in FIELDS]

WRONG_TYPES: dict[str, list[tuple[object, str]]] = {
    "text": [(5, "type"), (True, "type"), (["a"], "type"), ({"a": 1}, "type")],
    "key": [(5, "type"), (["a"], "type"), ("Upper", "pattern")],
    "texts": [("a", "type"), ({"a": 1}, "type"), ([5], "type"), ([None], "type"), ([["a"]], "type")],
    "number": [("5", "type"), (True, "type"), ([5], "type"), ({"a": 1}, "type"), (10**30, "range")],
    "integer": [("5", "type"), (False, "type"), (1.5, "type"), ([5], "type"), (10**30, "range"), (1e300, "range")],
    "truth": [("true", "type"), (1, "type"), (0, "type"), ([], "type")],
    "date": [
        (20260304, "date"), ("20260304", "date"), ("2026-02-30", "date"), ("2026-W10-3", "date"), ("", "date"),
        ("2026-03-04T00:00:00Z", "date"), (" 2026-03-04", "date"), ("\u0662026-03-04", "date"), ("0000-01-01", "date"),
    ],
    "moment": [
        (1772000000, "moment"), ("2026-03-04", "moment"), ("2026-03-04T10:11:12", "moment"), ("", "moment"),
        ("2026-02-30T10:11:12Z", "moment"), ("2026-03-04T25:00:00Z", "moment"), ("2026-03-04T10:11:60Z", "moment"),
        ("0001-01-01T00:00:00+01:00", "moment"), ("9999-12-31T23:59:59-01:00", "moment"),
        ("20260304T101112Z", "moment"), ("2026-03-04T10:11:12+99:00", "moment"),
        ("2026-03-04T10:11:12.0000000001Z", "moment"),
    ],
    "choice": [(5, "choice"), ("beer", "choice"), ("", "choice"), (["green"], "choice"), ({}, "choice")],
    "reference": [(5, "id"), ("here", "id"), ("", "id"), ("g" * 36, "id"), ([], "id"), ("{" + "0" * 34 + "}", "id")],
}  # fmt: skip
RIGHT: dict[str, list[object]] = {
    "texts": [[], ["a"] * 50],
    "truth": [True, False],
    "date": ["0001-01-01", "2024-02-29", "9999-12-31"],
    "moment": ["0001-01-01T00:00:00Z", "2026-03-04t10:11:12.123456789+14:00", "9999-12-31T23:59:59.999999Z"],
}


def unfit(field: Field) -> list[tuple[object, str]]:
    """Return values that the field cannot hold, each with its code."""
    found = list(WRONG_TYPES[field.kind])
    if field.required:
        found.append((None, "required"))
    if field.kind in ("text", "key", "texts"):
        texts = [
            ("x" * (field.longest + 1), "too_long"),
            ("\x00", "characters"),
            ("\ud800", "characters"),
            ("\udfff", "characters"),
        ]
        found += [([text], code) if field.kind == "texts" else (text, code) for text, code in texts]
    if field.kind == "texts":
        found.append((["a"] * 51, "type"))
    if field.required and field.kind == "text":
        found += [("", "required"), (" \t\n", "required")]
    if field.pattern:
        found += [("9", "pattern"), ("É", "pattern")]
    found += [(value, "range") for value in beyond(field)]
    if field.decimals is not None:
        found.append((1 + 0.5 * 10**-field.decimals, "step"))
    return found


def beyond(field: Field) -> list[float]:
    """Return the nearest numbers outside the field's limits, and far ones."""
    step = 10**-field.decimals if field.decimals is not None else 0
    found: list[float] = []
    if field.low is not None:
        found += [field.low - 1 if field.kind == "integer" else _under(field.low, step=step), field.low - 50]
    if field.above is not None:
        found += [field.above, -1]
    if field.high is not None:
        found += [field.high + 1 if field.kind == "integer" else _over(field.high, step=step)]
    return found


def fitting(field: Field) -> list[object]:
    """Return values at the field's limits, which it must hold."""
    found: list[object] = [*RIGHT.get(field.kind, ())]
    if field.kind == "text" and not field.pattern:
        found += ["🍵" * field.longest, "x", "<b>'\"&\\\u2028"[: field.longest]]
    if field.pattern and field.kind == "text":
        found.append("a" * field.longest if field.longest > 3 else "Z" * field.longest)
    found += field.choices
    found += [limit for limit in (field.low, field.high) if limit is not None]
    if field.above is not None:
        found.append(math.nextafter(field.above, 1))
    return found


def _under(limit: float, *, step: float) -> float:
    return limit - step if step else math.nextafter(limit, -math.inf)


def _over(limit: float, *, step: float) -> float:
    return limit + step if step else math.nextafter(limit, math.inf)
