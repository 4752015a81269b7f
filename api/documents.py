"""What the OpenAPI document says of each body, derived from the record shapes and written out for the rest."""

from functools import cache
from typing import Any

from rest_framework import serializers as s

from api.http.openapi import PROBLEM_ITEM, Serializer, inline_object, record_field
from lots.schema import RecordSchema


@cache
def record_read(schema: RecordSchema) -> Serializer:
    """Return what a record looks like in an answer."""
    server: dict[str, Any] = {"taster": s.UUIDField(), "built_in": s.BooleanField()}
    return inline_object(
        schema.type.capitalize(),
        id=s.UUIDField(),
        revision=s.IntegerField(),
        **{field.name: record_field(field, required=True) for field in schema.fields},
        **{name: server[name] for name in schema.server_fields},
        by=s.UUIDField(allow_null=True),
    )


def record_new(schema: RecordSchema) -> Serializer:
    """Return what makes a record."""
    fields = {field.name: record_field(field, required=field.required) for field in schema.fields}
    return inline_object(
        f"New{schema.type.capitalize()}", id=s.UUIDField(help_text="made by the client; version 7 advised"), **fields
    )


def record_change(schema: RecordSchema) -> Serializer:
    """Return what changes a record: any of its fields."""
    fields = {field.name: record_field(field, required=False) for field in schema.fields}
    return inline_object(f"Changed{schema.type.capitalize()}", **fields)


SYNC_BODY = inline_object(
    "SyncBody",
    schema=s.IntegerField(help_text="1"),
    device=s.UUIDField(),
    cursor=s.IntegerField(required=False, min_value=0, default=0),
    limit=s.IntegerField(required=False, min_value=1, max_value=1000, default=500),
    changes=inline_object(
        "SentChange",
        type=s.ChoiceField(choices=["lot", "session", "infusion", "note", "descriptor"]),
        id=s.UUIDField(),
        at=s.DateTimeField(),
        fields=s.DictField(required=False),
        deleted=s.BooleanField(required=False),
    )(many=True, required=False, help_text="at most 1,000"),
)
SYNC_ANSWER = inline_object(
    "SyncAnswer",
    verdicts=inline_object(
        "Verdict",
        type=s.CharField(allow_blank=True),
        id=s.CharField(allow_blank=True),
        verdict=s.ChoiceField(choices=["applied", "merged", "unchanged", "refused"]),
        revision=s.IntegerField(allow_null=True),
        problems=PROBLEM_ITEM(many=True),
    )(many=True),
    changes=inline_object(
        "PulledChange",
        type=s.CharField(),
        id=s.UUIDField(),
        revision=s.IntegerField(),
        deleted=s.BooleanField(),
        fields=s.DictField(),
        by=s.UUIDField(),
    )(many=True),
    cursor=s.IntegerField(),
    more=s.BooleanField(),
    now=s.DateTimeField(),
)
_HISTORY_ITEM = inline_object(
    "HistoryItem",
    field=s.CharField(),
    value=s.JSONField(),
    at=s.DateTimeField(),
    by=s.UUIDField(),
    device=s.UUIDField(),
    claimed_at=s.DateTimeField(allow_null=True),
)
HISTORY = inline_object("History", current=_HISTORY_ITEM(many=True), overwritten=_HISTORY_ITEM(many=True))
