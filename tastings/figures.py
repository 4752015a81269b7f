"""Computed figures as JSON: what a job stores, and the same dataclasses again when it is read.

The maths returns frozen dataclasses. They are stored with :func:`to_stored`, read back once, at the edge, with
:func:`from_stored`, and everything after that takes the dataclasses.
"""

import math
from datetime import datetime
from typing import Any, TypeVar

import msgspec

from lots.schema import format_utc_short

DECIMALS = 3

Result = TypeVar("Result")


class UnreadableFiguresError(ValueError):
    """Stored figures do not have the fields of this version of the method."""


def to_stored(figures: object, *, decimals: int | None = DECIMALS) -> Any:  # noqa: ANN401 - whatever JSON the dataclass has
    """Return a dataclass of figures as JSON types, floats rounded to 3 decimals; None leaves them as they are.

    Raises
    ------
    ArithmeticError
        A figure is not finite: JSON cannot hold it, and it is a fault in the computation.
    """
    return _plain(msgspec.to_builtins(figures, builtin_types=(datetime,)), decimals)


def from_stored(cls: type[Result], stored: object) -> Result:
    """Return the dataclass that was stored.

    Raises
    ------
    UnreadableFiguresError
        It was stored by another version of the method and lacks what this one needs.
    """
    try:
        return msgspec.convert(stored, cls)
    except msgspec.ValidationError as error:
        raise UnreadableFiguresError(f"{cls.__name__}: {error}") from error


def _plain(value: Any, decimals: int | None) -> Any:  # noqa: ANN401 - JSON
    match value:
        case float():
            if not math.isfinite(value):
                raise ArithmeticError(f"a computed figure is {value}")
            return (value if decimals is None else round(value, decimals)) + 0.0  # + 0.0 turns -0.0 into 0.0
        case datetime():
            return format_utc_short(value)
        case dict():
            return {key: _plain(item, decimals) for key, item in value.items()}
        case list() | tuple():
            return [_plain(item, decimals) for item in value]
        case _:
            return value
