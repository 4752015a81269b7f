"""What a sync sends and answers. The view checks the body itself: each change is refused alone, with a verdict."""

from rest_framework import serializers as s

from api.http.openapi import PROBLEM_ITEM, inline_object
from tastings.schemas import RECORD_SCHEMAS

SyncBodySerializer = inline_object(
    "SyncBody",
    schema=s.IntegerField(help_text="1"),
    device=s.UUIDField(),
    cursor=s.IntegerField(required=False, min_value=0, default=0),
    limit=s.IntegerField(required=False, min_value=1, max_value=1000, default=500),
    changes=inline_object(
        "SentChange",
        type=s.ChoiceField(choices=list(RECORD_SCHEMAS)),
        id=s.UUIDField(),
        at=s.DateTimeField(),
        fields=s.DictField(required=False),
        deleted=s.BooleanField(required=False),
    )(many=True, required=False, help_text="at most 1,000"),
)
SyncAnswerSerializer = inline_object(
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
