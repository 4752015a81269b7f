"""What people write, read into suggestions, which count when the taster accepts them."""

from django.utils import timezone
from django.utils.translation import gettext_lazy
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import device_id, member_of
from api.http.bodies import BodySerializer, Number, Part, Parts, StrictTextField, validated_body
from api.http.conditional import conditional_response, expected_revision, id_from_path
from api.http.dataclass_answers import answer_of
from api.http.openapi import IF_MATCH, conditional_get, inline_object, operation
from api.records.records import serialize_record
from api.records.serializers import record_serializer
from tastings.actions.suggestions import accept_suggestions, check_may_accept
from tastings.answers.reading import NoteSuggestions, Reading
from tastings.figures import to_stored
from tastings.queries.suggestions import read_text, suggestions_for
from tastings.schemas import NOTE
from teams.errors import PreconditionFailed


class TextToReadSerializer(BodySerializer):
    """A text that is not, or not yet, a note's."""

    unknown = gettext_lazy("text alone")
    text = StrictTextField(max_length=8000, allow_blank=True)


class AcceptedSuggestionSerializer(Part):
    """A suggestion that the taster accepts."""

    unknown = gettext_lazy("descriptor and intensity")
    expected = gettext_lazy("must be an object with a descriptor")
    descriptor = StrictTextField(help_text="one that the note's text suggests")
    intensity = Number(NOTE.by_name()["intensity"], help_text="instead of the suggested one; steps of 0.1")


class AcceptedSuggestionsSerializer(BodySerializer):
    """What the taster accepts of a note's suggestions."""

    unknown = gettext_lazy("accept alone")
    accept = Parts(child=AcceptedSuggestionSerializer(), max_length=100, help_text="1 to 100")


class ReadText(APIView):
    """A text that is not, or not yet, a note's."""

    @operation({200: answer_of(Reading)}, operation_id="read_text", request=TextToReadSerializer)
    def post(self, request: Request) -> Response:
        """Suggest descriptors for a text, with the team's words; nothing is stored."""
        text = validated_body(request, TextToReadSerializer)["text"]
        return Response(to_stored(read_text(member_of(request), text)))


class SuggestionsOfNote(APIView):
    """What a note's text suggests."""

    @conditional_get(answer_of(NoteSuggestions), [404], operation_id="note_suggestions")
    def get(self, request: Request, record_id: str) -> Response:
        """Suggest descriptors for a note's text, without those noted already for that infusion and moment."""
        return conditional_response(request, suggestions_for(member_of(request), id_from_path(record_id)))


class AcceptSuggestions(APIView):
    """The suggestions that the taster accepts."""

    @operation(
        {200: inline_object("AcceptedNotes", results=record_serializer(NOTE)(many=True))},
        [403, 404, 412],
        operation_id="note_suggestions_accept",
        parameters=[IF_MATCH],
        request=AcceptedSuggestionsSerializer,
    )
    def post(self, request: Request, record_id: str) -> Response:
        """Accept suggestions; each becomes a note. What is noted already stays, so repeating changes nothing."""
        member, note = member_of(request), id_from_path(record_id)
        expected = expected_revision(request)
        if check_may_accept(member, note).revision != expected and expected is not None:
            raise PreconditionFailed  # the text that was read may be another
        accepted = validated_body(request, AcceptedSuggestionsSerializer)["accept"]
        notes = accept_suggestions(member, note=note, accepted=accepted, device=device_id(request), now=timezone.now())
        return Response({"results": [serialize_record(note) for note in notes]})
