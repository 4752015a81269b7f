"""What people write, read into suggestions, which count when the taster accepts them; and two words made one."""

from django.utils import timezone
from django.utils.translation import gettext as _
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import device_of, member_of
from api.http.bodies import body_of
from api.http.conditional import expected_revision, id_in_address, tagged
from api.records import shown
from lots.schema import Unfit, clean_text
from lots.wording import problem_of
from tastings.actions.merging import merge_word
from tastings.actions.reading import accept_suggestions
from tastings.queries.reading import reading_of, suggestions_for
from tastings.queries.records import record_for
from teams.errors import Changed, Invalid, Problem

_LONGEST = 8000


class Read(APIView):
    """A text that is not, or not yet, a note's."""

    def post(self, request: Request) -> Response:
        """Read it with the team's words; nothing is kept."""
        sent = body_of(request)
        _only(sent, "text")
        try:
            text = clean_text(sent.get("text"), longest=_LONGEST)
        except Unfit as error:
            raise Invalid(problems=[problem_of("text", error.fault)]) from error
        return Response({"suggestions": reading_of(member_of(request), text)})


class SuggestionsOf(APIView):
    """What a note's text suggests."""

    def get(self, request: Request, record_id: str) -> Response:
        """List it, without what is noted of that infusion and moment already."""
        return tagged(request, suggestions_for(member_of(request), id_in_address(record_id)))


class AcceptSuggestions(APIView):
    """The taster's word on them."""

    def post(self, request: Request, record_id: str) -> Response:
        """Make an ordinary note of each one accepted; what is noted already stays, so repeating changes nothing."""
        member, note = member_of(request), id_in_address(record_id)
        expected = expected_revision(request)
        if record_for(member, "note", note).revision != expected and expected is not None:
            raise Changed  # the text that was read may be another
        sent = body_of(request)
        _only(sent, "accept")
        notes = accept_suggestions(
            member,
            note=note,
            accepted=sent.get("accept"),
            device=device_of(request),
            now=timezone.now(),
        )
        return Response({"results": [shown(one) for one in notes]})


class MergeWord(APIView):
    """A word of the team that means what another means."""

    def post(self, request: Request, record_id: str) -> Response:
        """Merge it into the descriptor with the key ``into``; return that one."""
        member, word = member_of(request), id_in_address(record_id)
        target = merge_word(
            member,
            word=word,
            sent=body_of(request),
            device=device_of(request),
            now=timezone.now(),
        )
        merged = record_for(member, "descriptor", target)
        return Response(shown(merged), headers={"ETag": f'"{merged.revision}"'})


def _only(sent: dict[str, object], name: str) -> None:
    """Refuse other members of a body."""
    unknown = [
        Problem(str(other)[:80], "unknown_field", _("%(name)s alone") % {"name": name})
        for other in sent.keys() - {name}
    ]
    if unknown:
        raise Invalid(problems=unknown)
