"""Suggestions from texts, read with a team's descriptors: its own first, then the built-in ones."""

from collections.abc import Collection, Mapping, Sequence
from uuid import UUID

from django.db.models import Q

from tastings.answers.reading import NoteSuggestions, Reading, suggestion_in
from tastings.models import Descriptor
from tastings.queries.records import Record, list_records, record_for
from tastings.reading.lexicon import Lexicon, lexicon_of
from tastings.reading.reader import Suggestion, read
from tastings.reading.terms import DescriptorTerms
from teams.models import Member

_MAX_NOTES = 5000
"""Most notes of one session at one moment that are read: more than anyone writes."""


def lexicon_for(member: Member) -> Lexicon:
    """Return the descriptors that a member's texts are read with; a merged one counts as what it was merged into."""
    descriptors = list(Descriptor.objects.filter(Q(team=None) | Q(team_id=member.team_id)).order_by("position", "id"))
    merged: dict[UUID | None, list[str]] = {}
    for descriptor in descriptors:
        if descriptor.removed and descriptor.merged_into_id is not None:
            merged.setdefault(descriptor.merged_into_id, []).extend((descriptor.label, *descriptor.synonyms))
    current = [descriptor for descriptor in descriptors if not descriptor.removed]
    own = [
        _to_terms(descriptor, merged.get(descriptor.id, ()))
        for descriptor in current
        if not descriptor.is_built_in or descriptor.id in merged
    ]
    return lexicon_of(tuple(own), tuple(_to_terms(descriptor) for descriptor in current if descriptor.is_built_in))


def _to_terms(descriptor: Descriptor, own_synonyms: Sequence[str] = ()) -> DescriptorTerms:
    return DescriptorTerms(
        key=descriptor.key,
        label=descriptor.label,
        family=descriptor.family,
        synonyms=(*descriptor.synonyms, *own_synonyms),
        rated=descriptor.rated_each_infusion,
    )


def read_text(member: Member, text: str) -> Reading:
    """Return what a text suggests."""
    lexicon = lexicon_for(member)
    return Reading([suggestion_in(text, item, lexicon) for item in read(text, lexicon)])


def suggestions_for(member: Member, note_id: UUID) -> NoteSuggestions:
    """Return what a note's text suggests beyond what is noted already of that infusion and moment.

    Raise NotFound if the note is deleted, another team's, or in a session that the member may not see.
    """
    note = record_for(member, "note", note_id)
    noted = {str(row.fields["descriptor"]) for row in notes_at_same_moment(member, note)}
    lexicon, text = lexicon_for(member), text_of(note)
    new = [suggestion_in(text, item, lexicon) for item in read(text, lexicon) if item.descriptor not in noted]
    return NoteSuggestions(note=note.id, revision=note.revision, suggestions=new)


def all_suggestions(member: Member, note: Record) -> Mapping[str, Suggestion]:
    """Return all that a note's text suggests, by descriptor, noted or not."""
    return {item.descriptor: item for item in read(text_of(note), lexicon_for(member))}


def notes_at_same_moment(member: Member, note: Record, *, of: Collection[str] | None = None) -> Sequence[Record]:
    """Return the live notes of the same session, infusion and moment, of some descriptors only if named."""
    filters = {"session": str(note.fields["session"]), "moment": str(note.fields["moment"])}
    notes = list_records(member, "note", filters=filters, after=None, limit=_MAX_NOTES)
    return [
        row
        for row in notes
        if row.fields["infusion"] == note.fields["infusion"] and (of is None or row.fields["descriptor"] in of)
    ]


def text_of(note: Record) -> str:
    """Return a note's text; empty if it has none."""
    return str(note.fields["text"] or "")
