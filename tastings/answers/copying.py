"""Answers made of computed figures whose fields mostly have the same names."""

from dataclasses import fields
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from _typeshed import DataclassInstance  # only type checkers have it

Answer = TypeVar("Answer", bound="DataclassInstance")


def answer_from(cls: type[Answer], figures: object, **others: object) -> Answer:
    """Return an answer with the fields given, and all others as ``figures`` has them under the same name."""
    copied = {field.name: getattr(figures, field.name) for field in fields(cls) if field.name not in others}
    return cls(**copied, **others)
