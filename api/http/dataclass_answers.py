"""Computed answers: one frozen dataclass is the answer, its OpenAPI description and its JSON."""

from functools import cache

from drf_spectacular.utils import PolymorphicProxySerializer, extend_schema_field
from rest_framework import serializers as s
from rest_framework_dataclasses.field_utils import TypeInfo
from rest_framework_dataclasses.serializers import DataclassSerializer
from rest_framework_dataclasses.types import Dataclass

from api.http.openapi import SerializerField
from tastings.answers.meanings import meaning_of

Described = type[DataclassSerializer[Dataclass]]


@extend_schema_field({"type": "null"})
class NullField(s.Field[None, None, None, None]):
    """Null, whatever else the answer holds."""


class AnswerSerializer(DataclassSerializer[Dataclass]):
    """A serializer made from a dataclass: each field has its meaning, and some may always be null."""

    serializer_field_mapping = {**DataclassSerializer.serializer_field_mapping, type(None): NullField}

    def create_field(self, field_name: str, extra_kwargs: dict[str, object]) -> SerializerField:
        """Return a field with its meaning as help text."""
        meaning = meaning_of(self.dataclass_definition.dataclass_type, field_name)
        return super().create_field(field_name, {"help_text": meaning, **extra_kwargs})

    def build_dataclass_field(self, field_name: str, type_info: TypeInfo) -> tuple[Described, dict[str, object]]:  # noqa: ARG002 - the library's shape
        """Describe a dataclass within this one in the same way, with its docstring."""
        return answer_of(type_info.base_type), {"many": type_info.is_many}


@cache
def answer_of(dataclass: type, *, name: str | None = None) -> Described:
    """Return the serializer from which the OpenAPI document describes a dataclass, by default under its own name."""
    meta = type("Meta", (), {"dataclass": dataclass, "ref_name": name})
    return type(f"{dataclass.__name__}Serializer", (AnswerSerializer,), {"Meta": meta, "__doc__": dataclass.__doc__})


def one_of(name: str, *dataclasses: type) -> PolymorphicProxySerializer:
    """Return the description of an answer that has one of several forms."""
    return PolymorphicProxySerializer(
        component_name=name, serializers=[answer_of(form) for form in dataclasses], resource_type_field_name=None
    )
