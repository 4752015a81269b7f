"""What the OpenAPI document says of reading texts and merging words."""

from rest_framework import serializers as s

from api import documents as doc
from api.http import openapi
from api.http.openapi import an_object, described, problem
from api.reading import AcceptSuggestions, MergeWord, Read, SuggestionsOf
from tastings.schemas import DESCRIPTOR, NOTE

_SUGGESTION = an_object(
    "Suggestion",
    descriptor=s.CharField(help_text="a descriptor's key"),
    label=s.CharField(),
    present=s.BooleanField(help_text="false for what the text says is not there"),
    intensity=s.FloatField(
        allow_null=True,
        min_value=0,
        max_value=10,
        help_text="in steps of 0.5; null when the text does not grade it or only compares it; "
        "0 for the absence of a descriptor that is rated each infusion",
    ),
    compared=s.ChoiceField(choices=["more", "less"], allow_null=True, help_text="than in another cup"),
    degree=s.CharField(allow_null=True, help_text="the wording that gave the intensity"),
    start=s.IntegerField(help_text="where its word begins in the text, in characters"),
    end=s.IntegerField(),
    words=s.CharField(help_text="the word as written"),
)
SUGGESTIONS = an_object(
    "NoteSuggestions", note=s.UUIDField(), revision=s.IntegerField(), suggestions=_SUGGESTION(many=True)
)
READING = an_object("Reading", suggestions=_SUGGESTION(many=True))
TEXT = an_object("TextToRead", text=s.CharField(max_length=8000, allow_blank=True))
ACCEPTED = an_object(
    "AcceptedSuggestions",
    accept=an_object(
        "AcceptedSuggestion",
        descriptor=s.CharField(help_text="one that the note's text suggests"),
        intensity=s.FloatField(
            required=False,
            allow_null=True,
            min_value=0,
            max_value=10,
            help_text="instead of the suggested one; steps of 0.1",
        ),
    )(many=True, help_text="1 to 100"),
)
MERGE = an_object("MergeWord", into=s.CharField(max_length=60, help_text="the key of the word that stays"))

_BODY = problem(400, 413, 415, 422)


DESCRIBED = {
    Read: {"post": described(operation_id="read_text", request=TEXT, responses={200: READING, **_BODY})},
    SuggestionsOf: {
        "get": described(
            operation_id="note_suggestions",
            parameters=[openapi.ETAG],
            responses={200: SUGGESTIONS, **openapi.NOT_MODIFIED, **problem(404)},
        )
    },
    AcceptSuggestions: {
        "post": described(
            operation_id="note_suggestions_accept",
            parameters=[openapi.IF_MATCH],
            request=ACCEPTED,
            responses={
                200: an_object("AcceptedNotes", results=doc.record_read(NOTE)(many=True)),
                **_BODY,
                **problem(403, 404, 412),
            },
        )
    },
    MergeWord: {
        "post": described(
            operation_id="descriptor_merge",
            request=MERGE,
            responses={200: doc.record_read(DESCRIPTOR), **_BODY, **problem(403, 404)},
        )
    },
}
