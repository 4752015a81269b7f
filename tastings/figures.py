"""Computed figures as JSON: what a job stores, and the same dataclasses again when it is read.

The maths returns frozen dataclasses. They are stored with :func:`to_stored`, read back once, at the edge, with
:func:`from_stored`, and everything after that takes the dataclasses.
"""

import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, TypeVar, overload
from uuid import UUID

import msgspec
from msgspec import UNSET

from lots.schema import format_utc_short

if TYPE_CHECKING:
    from _typeshed import DataclassInstance  # only type checkers have it

DECIMALS = 3

Result = TypeVar("Result")


class UnreadableFiguresError(ValueError):
    """Stored figures do not have the fields of this version of the method."""


class Exact(float):
    """A number that is stored and sent as it is, such as one that a person typed."""


@overload
def to_stored(
    figures: "DataclassInstance | Mapping[str, object]", *, decimals: int | None = ...
) -> dict[str, object]: ...
@overload
def to_stored(figures: list[object] | tuple[object, ...], *, decimals: int | None = ...) -> list[object]: ...
@overload
def to_stored(figures: object, *, decimals: int | None = ...) -> object: ...
def to_stored(figures: object, *, decimals: int | None = DECIMALS) -> object:
    """Return a dataclass of figures as JSON types, without fields that are UNSET.

    Floats are rounded to ``decimals``, with None not at all. Raise ArithmeticError if a figure is not finite, which is
    a fault in the computation, TypeError for a value that JSON has no form for.
    """
    match figures:
        case None | bool() | int() | str():
            return figures
        case Exact():
            return float(figures)
        case float():
            if not math.isfinite(figures):
                raise ArithmeticError(f"a computed figure is {figures}")
            rounded = float(figures) if decimals is None else round(float(figures), decimals)
            return rounded + 0.0  # turns -0.0 into 0.0
        case UUID():
            return str(figures)
        case datetime():
            return format_utc_short(figures)
        case date():
            return figures.isoformat()
        case Mapping():
            return {str(key): to_stored(value, decimals=decimals) for key, value in figures.items()}
        case list() | tuple():
            return [to_stored(value, decimals=decimals) for value in figures]
        case _ if is_dataclass(figures):
            values = ((field.name, getattr(figures, field.name)) for field in fields(figures))
            return {name: to_stored(value, decimals=decimals) for name, value in values if value is not UNSET}
        case _:
            raise TypeError(f"{type(figures).__name__} has no form in JSON")


def from_stored(cls: type[Result], stored: object) -> Result:
    """Return the dataclass that was stored; raise UnreadableFiguresError if another version lacks what is needed."""
    try:
        return msgspec.convert(stored, cls)
    except msgspec.ValidationError as error:
        raise UnreadableFiguresError(f"{cls.__name__}: {error}") from error


def if_readable(cls: type[Result], stored: object) -> Result | None:
    """Return the dataclass that was stored; None without any, or when another version of the method stored it."""
    try:
        return None if stored is None else from_stored(cls, stored)
    except UnreadableFiguresError:
        return None
