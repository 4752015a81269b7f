"""Computed answers: one frozen dataclass is the answer, its OpenAPI description and its JSON."""

from functools import cache
from typing import Any

from rest_framework_dataclasses.serializers import DataclassSerializer

from tastings.figures import to_stored

Described = type[DataclassSerializer[Any]]


@cache
def answer_of(dataclass: type) -> Described:
    """Return the serializer from which the OpenAPI document describes a dataclass, under the dataclass's name."""
    meta = type("Meta", (), {"dataclass": dataclass})
    return type(f"{dataclass.__name__}Serializer", (DataclassSerializer,), {"Meta": meta, "__doc__": dataclass.__doc__})


def as_json(answer: object) -> Any:  # noqa: ANN401 - whatever JSON the dataclass has
    """Return an answer's dataclass as JSON types: its fields in their order, floats rounded to 3 decimals."""
    return to_stored(answer)
