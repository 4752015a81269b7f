"""Two words of a team that mean one thing become one; the old word stays in the history of every note."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from lots.merge import DELETED
from tastings.actions.push import Change, push_changes
from tastings.models import Descriptor, Note
from tastings.queries.records import record_for
from tastings.schemas import DESCRIPTOR
from teams.errors import Invalid, NotAllowed, Problem
from teams.models import Member, Team

_NOTES_PER_PUSH = 500
"""So that merging a word of very many notes needs no more memory."""
_MOST_SYNONYMS = 50


@transaction.atomic
def merge_word(member: Member, *, word: UUID, into: str, device: UUID, now: datetime) -> UUID:
    """Merge a word of the team into another, its own or a built-in one; return the other's id.

    The notes' descriptor changes by ordinary edits, those of private and blind sessions too, since the word goes for
    all; phones get it with their next pull. A note that a phone still sends with the old key gets the other word.
    Merging a word again changes nothing.

    Parameters
    ----------
    word : UUID
        The descriptor that is merged.
    into : str
        The key of the word that stays.

    Raises
    ------
    NotAllowed
        The member is neither owner nor buyer, or the word is built in.
    NotHere
        The team has no such word.
    Invalid
        There is no word with that key, or it is the same one.
    """
    Team.objects.select_for_update(no_key=True).get(id=member.team_id)
    merged = Descriptor.objects.filter(team_id=member.team_id, id=word).first()
    merged_before = merged.merged_into_id if merged is not None and merged.removed else None
    if merged_before is None:
        record_for(member, "descriptor", word)
    if merged is None:
        raise NotAllowed(_("what is built in cannot be merged into another"))
    if not member.decides:
        raise NotAllowed(_("owners and buyers merge words"))
    if merged_before is not None:
        return merged_before
    target = _target(member, merged, into)
    notes = Note.objects.filter(team_id=member.team_id, descriptor_id=merged.id, removed=False)
    for batch in _batches(list(notes.order_by("session_id", "id").values_list("id", flat=True))):
        _push(member, device=device, now=now, changes=[
            Change(type="note", id=note, fields={"descriptor": target.key}, stamp=None) for note in batch
        ])  # fmt: skip
    deletion = Change(type="descriptor", id=merged.id, fields={DELETED: True}, stamp=None)
    more_synonyms = Change(type="descriptor", id=target.id, fields={"synonyms": _synonyms(target, merged)}, stamp=None)
    _push(member, device=device, now=now, changes=[deletion] if target.is_built_in else [deletion, more_synonyms])
    own = Descriptor.objects.filter(team_id=member.team_id)
    own.filter(Q(id=merged.id) | Q(merged_into=merged)).update(merged_into=target)
    own.filter(id=target.id).update(merged_into=None)
    return target.id


def _target(member: Member, merged: Descriptor, key: str) -> Descriptor:
    if key == merged.key:
        raise Invalid(problems=[Problem("into", "itself", _("a word is merged into another"))])
    own = Q(team=None) | Q(team_id=member.team_id)
    # of several with this key, the one that a note would get
    target = Descriptor.objects.filter(own, key=key, removed=False).order_by("position").first()
    if target is None:
        raise Invalid(problems=[Problem("into", "unknown_parent", _("there is no descriptor with this key"))])
    return target


def _synonyms(target: Descriptor, merged: Descriptor) -> Sequence[str]:
    known = {target.label.casefold()}
    synonyms: list[str] = []
    for text in (*target.synonyms, merged.label, *merged.synonyms):
        if text.casefold() not in known:
            known.add(text.casefold())
            synonyms.append(text)
    longest = DESCRIPTOR.by_name()["synonyms"].longest
    return [text for text in synonyms if len(text) <= longest][:_MOST_SYNONYMS]


def _batches(notes: list[UUID]) -> Iterator[list[UUID]]:
    for start in range(0, len(notes), _NOTES_PER_PUSH):
        yield notes[start : start + _NOTES_PER_PUSH]


def _push(member: Member, *, device: UUID, now: datetime, changes: Sequence[Change]) -> None:
    verdicts = push_changes(member, device=device, changes=changes, now=now, for_whole_team=True)
    if problems := [problem for verdict in verdicts for problem in verdict.problems]:
        raise Invalid(problems=problems)
