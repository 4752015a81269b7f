"""Two words of a team that mean one thing become one, and every note keeps what it said before in its history."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from lots.merge import DELETED
from lots.schema import Unfit, clean
from lots.wording import problem_of
from tastings.actions.push import Change, push_changes
from tastings.models import Descriptor, Note
from tastings.queries.records import record_for
from tastings.schemas import DESCRIPTOR, NOTE
from teams.errors import Invalid, NotAllowed, Problem
from teams.models import Member, Team

_AT_ONCE = 500
"""Notes changed per push, so that a word of very many notes needs no more memory."""
_MOST_SYNONYMS = 50


@transaction.atomic
def merge_word(member: Member, *, word: UUID, sent: Mapping[str, object], device: UUID, now: datetime) -> UUID:
    """Merge a word of the team into another, its own or a built-in one; return the other's id.

    The notes' descriptor changes by ordinary edits, those of private and blind sessions too, since the word goes for
    all; phones hear of it when they next pull. What a phone still sends with the old key means the other word from
    now on. Merging again what is merged already changes nothing.

    Parameters
    ----------
    sent : mapping
        ``into``: the key of the word that stays.

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
    held = Descriptor.objects.filter(team_id=member.team_id, id=word).first()
    merged_before = held.merged_into_id if held is not None and held.removed else None
    if merged_before is None:
        record_for(member, "descriptor", word)
    if held is None:
        raise NotAllowed(_("what is built in cannot be merged into another"))
    if not member.decides:
        raise NotAllowed(_("owners and buyers merge words"))
    if merged_before is not None:
        return merged_before
    target = _target(member, held, sent)
    notes = Note.objects.filter(team_id=member.team_id, descriptor_id=held.id, removed=False)
    for batch in _batches(list(notes.order_by("session_id", "id").values_list("id", flat=True))):
        _push(member, device=device, now=now, changes=[
            Change(type="note", id=note, fields={"descriptor": target.key}, stamp=None) for note in batch
        ])  # fmt: skip
    gone = Change(type="descriptor", id=held.id, fields={DELETED: True}, stamp=None)
    wider = Change(type="descriptor", id=target.id, fields={"synonyms": _synonyms(target, held)}, stamp=None)
    _push(member, device=device, now=now, changes=[gone] if target.is_built_in else [gone, wider])
    own = Descriptor.objects.filter(team_id=member.team_id)
    own.filter(Q(id=held.id) | Q(merged_into=held)).update(merged_into=target)
    own.filter(id=target.id).update(merged_into=None)
    return target.id


def _target(member: Member, held: Descriptor, sent: Mapping[str, object]) -> Descriptor:
    if unknown := [Problem(str(name)[:80], "unknown_field", _("into alone")) for name in sent.keys() - {"into"}]:
        raise Invalid(problems=unknown)
    try:
        key = clean(NOTE.by_name()["descriptor"], sent.get("into"))
    except Unfit as error:
        raise Invalid(problems=[problem_of("into", error.fault)]) from error
    if key == held.key:
        raise Invalid(problems=[Problem("into", "itself", _("a word is merged into another"))])
    own = Q(team=None) | Q(team_id=member.team_id)
    # the word that a note with this key would mean
    target = Descriptor.objects.filter(own, key=key, removed=False).order_by("position").first()
    if target is None:
        raise Invalid(problems=[Problem("into", "unknown_parent", _("there is no descriptor with this key"))])
    return target


def _synonyms(target: Descriptor, held: Descriptor) -> Sequence[str]:
    known = {target.label.casefold()}
    kept: list[str] = []
    for text in (*target.synonyms, held.label, *held.synonyms):
        if text.casefold() not in known:
            known.add(text.casefold())
            kept.append(text)
    longest = DESCRIPTOR.by_name()["synonyms"].longest
    return [text for text in kept if len(text) <= longest][:_MOST_SYNONYMS]


def _batches(notes: list[UUID]) -> Iterator[list[UUID]]:
    for start in range(0, len(notes), _AT_ONCE):
        yield notes[start : start + _AT_ONCE]


def _push(member: Member, *, device: UUID, now: datetime, changes: Sequence[Change]) -> None:
    verdicts = push_changes(member, device=device, changes=changes, now=now, for_whole_team=True)
    if problems := [problem for verdict in verdicts for problem in verdict.problems]:
        raise Invalid(problems=problems)
