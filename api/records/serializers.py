"""What records look like in bodies and answers, made from their schemas."""

from functools import cache

from rest_framework import serializers as s

from api.http.openapi import (
    Serializer,
    SerializerField,
    inline_object,
    schema_fields,
)
from lots.schema import RecordSchema


@cache
def record_serializer(schema: RecordSchema) -> Serializer:
    """Return the serializer of a record."""
    server: dict[str, SerializerField] = {"taster": s.UUIDField(), "built_in": s.BooleanField()}
    return inline_object(
        schema.type.capitalize(),
        id=s.UUIDField(),
        revision=s.IntegerField(),
        **schema_fields(schema, required=True),
        **{name: server[name] for name in schema.server_fields},
        by=s.UUIDField(allow_null=True, help_text="who edited it last"),
        author=s.UUIDField(allow_null=True, help_text="who made it, which never changes"),
    )


def new_record_serializer(schema: RecordSchema) -> Serializer:
    """Return the serializer of a new record."""
    made_by_client = s.UUIDField(help_text="made by the client; version 7 advised")
    return inline_object(f"New{schema.type.capitalize()}", id=made_by_client, **schema_fields(schema))


def changed_record_serializer(schema: RecordSchema) -> Serializer:
    """Return the serializer of a change: any of the fields."""
    return inline_object(f"Changed{schema.type.capitalize()}", **schema_fields(schema, required=False))


class HistoryItemSerializer(s.Serializer[object]):
    """One value of one field: who set it, when and on which device."""

    field = s.CharField()
    value = s.JSONField()
    at = s.DateTimeField()
    by = s.UUIDField()
    device = s.UUIDField()
    claimed_at = s.DateTimeField(allow_null=True)


class HistorySerializer(s.Serializer[object]):
    """The present values and those that were overwritten."""

    current = HistoryItemSerializer(many=True)
    overwritten = HistoryItemSerializer(many=True)
