"""Serializers of a sync's body and answer.

They document; the view and `tastings.actions.push.change` check the body, with one verdict per change.
"""

from typing import Any

from rest_framework import serializers as s

from api.http.openapi import PROBLEM_ITEM
from tastings.schemas import RECORD_SCHEMAS

MAX_CHANGES = 1000
DEFAULT_LIMIT, MAX_LIMIT = 500, 1000


class SentChangeSerializer(s.Serializer[Any]):
    """One edit or deletion of one record."""

    type = s.ChoiceField(choices=list(RECORD_SCHEMAS))
    id = s.UUIDField()
    at = s.DateTimeField()
    fields = s.DictField(required=False)  # type: ignore[assignment]  # the JSON key
    deleted = s.BooleanField(required=False)


class SyncBodySerializer(s.Serializer[Any]):
    """A phone's changes, and the cursor up to which it has pulled."""

    schema = s.IntegerField(help_text="1")
    device = s.UUIDField()
    cursor = s.IntegerField(required=False, min_value=0, default=0)
    limit = s.IntegerField(required=False, min_value=1, max_value=MAX_LIMIT, default=DEFAULT_LIMIT)
    changes = SentChangeSerializer(many=True, required=False, help_text=f"at most {MAX_CHANGES:,}")


class VerdictSerializer(s.Serializer[Any]):
    """The outcome of one change."""

    type = s.CharField(allow_blank=True)
    id = s.CharField(allow_blank=True)
    verdict = s.ChoiceField(choices=["applied", "merged", "unchanged", "refused"])
    revision = s.IntegerField(allow_null=True)
    problems = PROBLEM_ITEM(many=True)


class PulledChangeSerializer(s.Serializer[Any]):
    """The current state of a record that has changed, or that it is deleted."""

    type = s.CharField()
    id = s.UUIDField()
    revision = s.IntegerField()
    deleted = s.BooleanField()
    fields = s.DictField()  # type: ignore[assignment]  # the JSON key
    by = s.UUIDField(help_text="who edited it last")
    author = s.UUIDField(help_text="who made it, which never changes")


class SyncAnswerSerializer(s.Serializer[Any]):
    """A verdict per change, in their order, and what changed after the cursor."""

    verdicts = VerdictSerializer(many=True)
    changes = PulledChangeSerializer(many=True)
    cursor = s.IntegerField()
    more = s.BooleanField()
    now = s.DateTimeField()
