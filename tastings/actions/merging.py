"""Merging two descriptors of a team; the history of every note keeps the old one."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from lots.merge import DELETED
from tastings.actions.push import Change, push_changes
from tastings.audit_events import TastingEvent
from tastings.models import Descriptor, Note
from tastings.queries.records import record_for
from tastings.schemas import DESCRIPTOR
from teams.actions.audit import record_event
from teams.errors import Invalid, NotAllowed, Problem
from teams.models import Member, Team

_BATCH_SIZE = 500
"""Most notes per push, to bound memory."""
_MAX_SYNONYMS = 50


def check_may_merge(member: Member, descriptor: UUID) -> Descriptor:
    """Return the team's descriptor that is to be merged, or was.

    Raise NotFound if the team has none such, NotAllowed if it is built in or the member is neither owner nor buyer.
    """
    row = Descriptor.objects.filter(team_id=member.team_id, id=descriptor).first()
    if row is None or not row.removed or row.merged_into_id is None:
        record_for(member, "descriptor", descriptor)
    if row is None:
        raise NotAllowed(_("what is built in cannot be merged into another"))
    if not member.decides:
        raise NotAllowed(_("owners and buyers merge words"))
    return row


@transaction.atomic
def merge_descriptor(member: Member, *, descriptor: UUID, into: str, device: UUID, now: datetime) -> UUID:
    """Merge a descriptor of the team into that with the key ``into``, its own or a built-in one; return the other's id.

    The notes' descriptor changes by ordinary edits, also in private and blind sessions, since the descriptor is deleted
    for all; phones get it with their next pull. A note that a phone still sends with the old key gets the other
    descriptor. Merging again changes nothing. Raise the errors of `check_may_merge`, and Invalid if no descriptor has
    that key or it is the same one.
    """
    Team.objects.select_for_update(no_key=True).get(id=member.team_id)
    merged = check_may_merge(member, descriptor)
    if merged.removed and merged.merged_into is not None:
        if merged.merged_into.key != into:
            detail = _("is merged into %(word)s already") % {"word": merged.merged_into.label}
            raise Invalid(problems=[Problem("into", "taken", detail)])
        return merged.merged_into.id
    target = _find_target(member, merged, into)
    notes = Note.objects.filter(team_id=member.team_id, descriptor_id=merged.id, removed=False)
    for batch in _batches(list(notes.order_by("session_id", "id").values_list("id", flat=True))):
        _push(member, device=device, now=now, changes=[
            Change(type="note", id=note, fields={"descriptor": target.key}, stamp=None) for note in batch
        ])  # fmt: skip
    deletion = Change(type="descriptor", id=merged.id, fields={DELETED: True}, stamp=None)
    more_synonyms = Change(
        type="descriptor", id=target.id, fields={"synonyms": _merged_synonyms(target, merged)}, stamp=None
    )
    _push(member, device=device, now=now, changes=[deletion] if target.is_built_in else [deletion, more_synonyms])
    about = {"descriptor": str(merged.id), "into": str(target.id)}
    record_event(team=member.team_id, login=member.user_id, event=TastingEvent.WORDS_MERGED, about=about, now=now)
    own = Descriptor.objects.filter(team_id=member.team_id)
    own.filter(Q(id=merged.id) | Q(merged_into=merged)).update(merged_into=target)
    own.filter(id=target.id).update(merged_into=None)
    return target.id


def _find_target(member: Member, merged: Descriptor, key: str) -> Descriptor:
    if key == merged.key:
        raise Invalid(problems=[Problem("into", "itself", _("a word is merged into another"))])
    own = Q(team=None) | Q(team_id=member.team_id)
    # of several with this key, the one that a note would get
    target = Descriptor.objects.filter(own, key=key, removed=False).order_by("position").first()
    if target is None:
        raise Invalid(problems=[Problem("into", "unknown_parent", _("there is no descriptor with this key"))])
    return target


def _merged_synonyms(target: Descriptor, merged: Descriptor) -> Sequence[str]:
    known = {target.label.casefold()}
    synonyms: list[str] = []
    for text in (*target.synonyms, merged.label, *merged.synonyms):
        if text.casefold() not in known:
            known.add(text.casefold())
            synonyms.append(text)
    longest = DESCRIPTOR.by_name()["synonyms"].longest
    return [text for text in synonyms if len(text) <= longest][:_MAX_SYNONYMS]


def _batches(notes: list[UUID]) -> Iterator[list[UUID]]:
    for start in range(0, len(notes), _BATCH_SIZE):
        yield notes[start : start + _BATCH_SIZE]


def _push(member: Member, *, device: UUID, now: datetime, changes: Sequence[Change]) -> None:
    verdicts = push_changes(member, device=device, changes=changes, now=now, for_whole_team=True)
    if problems := [problem for verdict in verdicts for problem in verdict.problems]:
        raise Invalid(problems=problems)
