"""Serializers of a sync's body and answer.

They document; the view and `tastings.actions.push.change` check the body, with one verdict per change. A change is
described by the schema of its record type, so a new field or type is in the document by itself.
"""

from collections.abc import Callable, Mapping

from drf_spectacular.utils import PolymorphicProxySerializer, extend_schema_field
from rest_framework import serializers as s

from api.http.dataclass_answers import answer_of
from api.http.openapi import (
    PROBLEM_ITEM,
    Serializer,
    SerializerField,
    inline_object,
    schema_fields,
    server_fields,
)
from lots.schema import RecordSchema
from tastings.answers.pull_only import PULL_ONLY_FIELDS
from tastings.queries.scope import MOST_DAYS, MOST_LOTS
from tastings.schemas import RECORD_SCHEMAS

MAX_CHANGES = 1000
DEFAULT_LIMIT, MAX_LIMIT = 500, 1000


OUT_OF_SCOPE = s.BooleanField(
    required=False, help_text="true beside `deleted`: it is not deleted, the phone's scope has left it"
)


def _constant(value: str) -> s.CharField:
    """Return a field that always has one value, by which the forms of a change are told apart."""

    @extend_schema_field({"type": "string", "const": value})
    class Constant(s.CharField):
        pass

    return Constant()


def _sent_change(schema: RecordSchema) -> Serializer:
    """Return one edit or deletion of one record, as a phone sends it."""
    name = schema.type.capitalize()
    fields = inline_object(f"Sent{name}Fields", **schema_fields(schema, required=False))
    return inline_object(
        f"Sent{name}Change",
        type=_constant(schema.type),
        id=s.UUIDField(),
        at=s.DateTimeField(help_text="when it was made, by the phone's clock"),
        seq=s.IntegerField(
            required=False,
            min_value=1,
            max_value=2**53,
            help_text="rises with every change of the device: of two with one `at` the greater one is the later",
        ),
        fields=fields(required=False, help_text="any of them; those left out stay as they are"),
        deleted=s.BooleanField(required=False, help_text="true for a deletion, which has no fields"),
    )


def _pulled_change(schema: RecordSchema) -> Serializer:
    """Return the present state of one record, or that it is deleted."""
    name = schema.type.capitalize()
    fields = inline_object(f"Pulled{name}Fields", **schema_fields(schema, required=False), **server_fields(schema))
    return inline_object(
        f"Pulled{name}Change",
        type=_constant(schema.type),
        id=s.UUIDField(),
        revision=s.IntegerField(),
        deleted=s.BooleanField(),
        out_of_scope=OUT_OF_SCOPE,
        fields=fields(help_text="empty of a deletion"),
        at=s.DateTimeField(
            required=False,
            help_text="of its latest edit: a phone stamps its own later than this; like `by` and `author` left out with"
            " `out_of_scope`",
        ),
        by=s.UUIDField(required=False, help_text="who edited it last"),
        author=s.UUIDField(required=False, help_text="who made it, which never changes"),
    )


class _OptionalFields(s.Serializer[object]):
    """Leaves it open which of its fields are there."""

    def get_fields(self) -> dict[str, SerializerField]:
        fields = super().get_fields()
        for field in fields.values():
            field.required = False
        return fields


def _pull_only_change(name: str) -> Serializer:
    """Return the present state of what phones pull and never push, or that it is deleted."""
    described = answer_of(PULL_ONLY_FIELDS[name])
    fields = type(described.__name__, (_OptionalFields, described), {"__doc__": described.__doc__})
    return inline_object(
        f"Pulled{name.capitalize()}Change",
        type=_constant(name),
        id=s.UUIDField(),
        revision=s.IntegerField(),
        deleted=s.BooleanField(help_text="or no longer to be seen"),
        out_of_scope=OUT_OF_SCOPE,
        fields=fields(help_text="empty of a deletion"),
    )


def _one_of(
    name: str, forms: Mapping[str, s.Serializer[object] | Serializer]
) -> Callable[[type[s.ListField]], type[s.ListField]]:
    """Describe a list of changes, each in the form of its type."""
    return extend_schema_field(
        PolymorphicProxySerializer(
            component_name=name, serializers={**forms}, resource_type_field_name="type", many=True
        )
    )


@_one_of("SentChange", {name: _sent_change(schema) for name, schema in RECORD_SCHEMAS.items()})
class SentChangesField(s.ListField):
    """What a phone sends."""


@_one_of(
    "PulledChange",
    {name: _pulled_change(schema) for name, schema in RECORD_SCHEMAS.items()}
    | {name: _pull_only_change(name) for name in PULL_ONLY_FIELDS},
)
class PulledChangesField(s.ListField):
    """What a phone gets."""


class ScopeSerializer(s.Serializer[object]):
    """Of which sessions infusions, notes and photos come; everything else always does."""

    days = s.IntegerField(min_value=0, max_value=MOST_DAYS, help_text="sessions that began so many days back, or later")
    lots = s.ListField(child=s.UUIDField(), required=False, max_length=MOST_LOTS, help_text="sessions of these lots")


class StreamBodySerializer(s.Serializer[object]):
    """The cursor up to which a phone has pulled, and of which sessions it wants all."""

    schema = s.IntegerField(help_text="1")
    device = s.UUIDField()
    cursor = s.IntegerField(required=False, min_value=0, default=0)
    scope = ScopeSerializer(required=False, help_text="without it everything comes")
    scope_token = s.CharField(required=False, help_text="that of the last answer: what the phone has of a scope")
    nulls = s.BooleanField(required=False, default=True, help_text="false: a pulled field that is null is left out")
    limit = s.IntegerField(
        required=False, min_value=1, max_value=MAX_LIMIT, default=MAX_LIMIT, help_text="records in a line, at most"
    )


class SyncBodySerializer(StreamBodySerializer):
    """A phone's changes, and the cursor up to which it has pulled."""

    limit = s.IntegerField(
        required=False, min_value=1, max_value=MAX_LIMIT, default=DEFAULT_LIMIT, help_text="records pulled, at most"
    )
    changes = SentChangesField(required=False, max_length=MAX_CHANGES)
    echo = s.BooleanField(
        required=False,
        default=True,
        help_text="false: a record that stands as it was sent is not among the changes; its verdict has `record`",
    )


class LostFieldSerializer(s.Serializer[object]):
    """A field whose value did not win."""

    field = s.CharField(help_text="`deleted` for a deletion, or an edit of a record that stays deleted")
    value = s.JSONField(help_text="what stands")
    at = s.DateTimeField(help_text="since when")
    by = s.UUIDField(help_text="who set it")


StandingRecordSerializer = inline_object(
    "StandingRecord",
    fields=s.DictField(help_text="those that were not sent"),
    at=s.DateTimeField(help_text="of its latest edit"),
    by=s.UUIDField(help_text="who edited it last"),
    author=s.UUIDField(help_text="who made it"),
)
"""Fields of a record beyond those that were sent."""


class VerdictSerializer(s.Serializer[object]):
    """The outcome of one change."""

    type = s.CharField(allow_blank=True)
    id = s.CharField(allow_blank=True)
    verdict = s.ChoiceField(choices=["applied", "merged", "unchanged", "refused"])
    revision = s.IntegerField(allow_null=True)
    problems = PROBLEM_ITEM(many=True, help_text="why it is refused; of an accepted change `parent_deleted` alone")
    lost = LostFieldSerializer(
        many=True,
        required=False,
        help_text="fields of the change whose value does not stand after the push, left out when there are none;"
        " with `applied` those that a later change of the body set, or the `descriptor` of a word that was merged into"
        " another meanwhile",
    )
    record = StandingRecordSerializer(
        required=False,
        help_text="without `echo`, in place of the record among `changes`: what it has beyond what was sent",
    )


class SyncPageSerializer(s.Serializer[object]):
    """What changed after the cursor."""

    changes = PulledChangesField()
    cursor = s.IntegerField()
    more = s.BooleanField()
    scope_token = s.CharField(
        required=False, help_text="where there is a scope: store it with the changes, send it with the next request"
    )
    now = s.DateTimeField(help_text="the server's clock; in a stream, when the line was made")


class SyncAnswerSerializer(SyncPageSerializer):
    """A verdict per change, in their order, and what changed after the cursor."""

    verdicts = VerdictSerializer(many=True)
