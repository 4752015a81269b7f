"""Reading texts with a team's words: its own first, then the built-in ones."""

from collections.abc import Collection, Mapping, Sequence
from uuid import UUID

from django.db.models import Q

from tastings.answers.reading import NoteSuggestions, Reading, suggestion_in
from tastings.models import Descriptor
from tastings.queries.records import Record, list_records, record_for
from tastings.reading.lexicon import Lexicon, lexicon_of
from tastings.reading.reader import Suggestion, read
from tastings.reading.terms import Word
from teams.models import Member

_MOST_BESIDE = 5000
"""More notes of one session at one moment than anyone writes."""


def lexicon_for(member: Member) -> Lexicon:
    """Return the words a member's texts are read with; a merged word reads as what it was merged into."""
    words = list(Descriptor.objects.filter(Q(team=None) | Q(team_id=member.team_id)).order_by("position", "id"))
    merged: dict[UUID | None, list[str]] = {}
    for word in words:
        if word.removed and word.merged_into_id is not None:
            merged.setdefault(word.merged_into_id, []).extend((word.label, *word.synonyms))
    live = [word for word in words if not word.removed]
    own = [_word(word, merged.get(word.id, ())) for word in live if not word.is_built_in or word.id in merged]
    return lexicon_of(tuple(own), tuple(_word(word) for word in live if word.is_built_in))


def _word(word: Descriptor, more: Sequence[str] = ()) -> Word:
    return Word(
        key=word.key,
        label=word.label,
        family=word.family,
        synonyms=(*word.synonyms, *more),
        rated=word.rated_each_infusion,
    )


def reading_of(member: Member, text: str) -> Reading:
    """Return what a text suggests."""
    lexicon = lexicon_for(member)
    return Reading([suggestion_in(text, one, lexicon) for one in read(text, lexicon)])


def suggestions_for(member: Member, note_id: UUID) -> NoteSuggestions:
    """Return what a note's text suggests beyond what is noted already of that infusion and moment.

    Raises
    ------
    NotHere
        The note is absent, deleted, another team's, or in a session that the member may not see.
    """
    note = record_for(member, "note", note_id)
    noted = {str(row.fields["descriptor"]) for row in noted_beside(member, note)}
    lexicon, text = lexicon_for(member), text_of(note)
    new = [suggestion_in(text, one, lexicon) for one in read(text, lexicon) if one.descriptor not in noted]
    return NoteSuggestions(note=note.id, revision=note.revision, suggestions=new)


def suggestions_by_descriptor(member: Member, note: Record) -> Mapping[str, Suggestion]:
    """Return all that a note's text suggests, by descriptor, noted or not."""
    return {one.descriptor: one for one in read(text_of(note), lexicon_for(member))}


def noted_beside(member: Member, note: Record, *, of: Collection[str] | None = None) -> Sequence[Record]:
    """Return the live notes of the same session, infusion and moment, of some descriptors only if named."""
    filters = {"session": str(note.fields["session"]), "moment": str(note.fields["moment"])}
    beside = list_records(member, "note", filters=filters, after=None, limit=_MOST_BESIDE)
    return [
        row
        for row in beside
        if row.fields["infusion"] == note.fields["infusion"] and (of is None or row.fields["descriptor"] in of)
    ]


def text_of(note: Record) -> str:
    """Return a note's text; empty if it has none."""
    return str(note.fields["text"] or "")
