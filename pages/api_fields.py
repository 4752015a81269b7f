"""A schema of the OpenAPI document in words: what kind of value, with which limits, in which unit."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

from django.utils.safestring import SafeString

from api.http.document_types import Parameter, Schema
from tastings.queries.exporting.glossary import unit_of

_FORMATS = {
    "uuid": "UUID",
    "date": "date",
    "date-time": "time (RFC 3339)",
    "binary": "bytes",
    "uri": "address",
    "uri-reference": "address",
}
_TYPES = {
    "string": "text",
    "integer": "whole number",
    "number": "number",
    "boolean": "true or false",
    "object": "object",
    "null": "null",
}


@dataclass(frozen=True, slots=True)
class Kind:
    """Words, such as "list of", each followed by the name of a type or by none; limits; values to choose from."""

    pieces: tuple[tuple[str, str], ...]
    limits: tuple[str, ...] = ()
    values: tuple[str, ...] = ()
    pattern: str = ""
    may_be_null: bool = False

    @property
    def types(self) -> list[str]:
        """Return the types named."""
        return [name for _, name in self.pieces if name]


@dataclass(frozen=True, slots=True)
class FieldRow:
    """A field or parameter."""

    name: str
    kind: Kind
    is_required: bool
    about: SafeString


def reference_name(schema: Schema | Parameter) -> str:
    """Return the name of the schema or parameter that ``$ref`` refers to; empty without one."""
    return str(schema.get("$ref", "")).rpartition("/")[2]


def is_plain(schema: Schema) -> bool:
    """Whether a schema is a list of values or null, shown where it is used."""
    return "properties" not in schema and "oneOf" not in schema


def object_rows(schema: Schema, schemas: Mapping[str, Schema], text_of: Callable[[str], SafeString]) -> list[FieldRow]:
    """Return the fields of an object, those that must be there first."""
    required = schema.get("required", ())
    rows = [
        FieldRow(
            name=name,
            kind=kind_of(value, schemas, name=name),
            is_required=name in required,
            about=text_of(_described(value, schemas)),
        )
        for name, value in schema.get("properties", {}).items()
    ]
    return sorted(rows, key=lambda row: not row.is_required)


def kind_of(schema: Schema, schemas: Mapping[str, Schema], *, name: str = "") -> Kind:
    """Return the kind of a value; the unit follows from its ``name``."""
    if target := reference_name(schema):
        return kind_of(schemas[target], schemas) if is_plain(schemas[target]) else Kind((("", target),))
    if "allOf" in schema:
        return kind_of(schema["allOf"][0], schemas, name=name)
    if "oneOf" in schema:
        return _one_of([kind_of(part, schemas, name=name) for part in schema["oneOf"]])
    types = schema.get("type", "")
    listed = types if isinstance(types, list) else [types]
    may_be_null = isinstance(types, list) and "null" in types
    plain = next(type_ for type_ in listed if type_ != "null" or not may_be_null)
    if "enum" in schema:
        return Kind((("one of", ""),), values=tuple(schema["enum"]), may_be_null=may_be_null)
    if plain == "array":
        item = kind_of(schema["items"], schemas, name=name)
        (word, target), *others = item.pieces
        pieces = ((f"list of {word}".rstrip(), target), *others)
        limits = (
            *_counted(schema.get("minItems"), schema.get("maxItems"), "values"),
            *(f"each {limit}" for limit in item.limits),
        )
        return Kind(pieces, limits, item.values, item.pattern, may_be_null)
    values = schema.get("additionalProperties", False)
    if plain == "object" and not isinstance(values, bool):
        item = kind_of(values, schemas)
        (word, target), *others = item.pieces
        return replace(
            item, pieces=((f"object with values: {word}".rstrip(), target), *others), may_be_null=may_be_null
        )
    if "const" in schema:
        return Kind((("always", ""),), values=(str(schema["const"]),))
    word = _FORMATS.get(schema.get("format", ""), _TYPES.get(plain, "any JSON"))
    limits = tuple(_limits(schema, unit_of(name, kind=plain) or ""))
    return Kind(((word, ""),), limits, (), schema.get("pattern", ""), may_be_null)


def _one_of(kinds: list[Kind]) -> Kind:
    """Return a kind that is any of several."""
    is_null = [kind.pieces == (("null", ""),) for kind in kinds]
    others = [kind for kind, null in zip(kinds, is_null, strict=True) if not null]
    if len(others) == 1:
        return replace(others[0], may_be_null=others[0].may_be_null or any(is_null))
    pieces = tuple(
        (("one of" if number == 0 else "or") + f" {word}".rstrip(), target)
        for number, kind in enumerate(others)
        for word, target in kind.pieces
    )
    return Kind(pieces, may_be_null=any(is_null))


def _described(schema: Schema, schemas: Mapping[str, Schema]) -> str:
    """Return what a field means: its own description, or that of its type's values."""
    target = schemas.get(reference_name(schema), {})
    return str(schema.get("description") or (target.get("description", "") if is_plain(target) else ""))


def _limits(schema: Schema, unit: str) -> Iterator[str]:
    low, above, high = schema.get("minimum"), schema.get("exclusiveMinimum"), schema.get("maximum")
    bounds = []
    if above is not None:
        bounds.append(f"more than {_written(above)}")
    if low is not None and high is not None:
        bounds.append(f"{_written(low)} to {_written(high)}")
    elif low is not None:
        bounds.append(f"at least {_written(low)}")
    elif high is not None:
        bounds.append(f"at most {_written(high)}")
    if bounds or unit:
        yield f"{', '.join(bounds)} {unit}".strip()
    if "multipleOf" in schema:
        yield f"in steps of {schema['multipleOf']}"
    yield from _counted(schema.get("minLength"), schema.get("maxLength"), "characters")
    if "default" in schema:
        yield f"{json.dumps(schema['default'])} when left out"


def _counted(low: int | None, high: int | None, unit: str) -> Iterator[str]:
    if low == 1 and high is None:
        yield "not empty"
    elif low and high:
        yield f"{low:,} {unit}" if low == high else f"{low:,} to {high:,} {unit}"
    elif high:
        yield f"at most {high:,} {unit}"


def _written(number: float) -> str:
    """Return a number with commas from five digits on, so that a year has none."""
    return f"{number:,}" if abs(number) >= 10_000 else str(number)
