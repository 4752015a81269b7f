"""Computed answers: one frozen dataclass is the answer, its OpenAPI description and its JSON."""

from functools import cache
from typing import Any

from drf_spectacular.utils import PolymorphicProxySerializer
from rest_framework_dataclasses.serializers import DataclassSerializer

Described = type[DataclassSerializer[Any]]


@cache
def answer_of(dataclass: type) -> Described:
    """Return the serializer from which the OpenAPI document describes a dataclass, under the dataclass's name."""
    meta = type("Meta", (), {"dataclass": dataclass})
    return type(f"{dataclass.__name__}Serializer", (DataclassSerializer,), {"Meta": meta, "__doc__": dataclass.__doc__})


def one_of(name: str, *dataclasses: type) -> PolymorphicProxySerializer:
    """Return the description of an answer that has one of several forms."""
    return PolymorphicProxySerializer(
        component_name=name,
        serializers=[answer_of(one) for one in dataclasses],
        resource_type_field_name=None,
    )
