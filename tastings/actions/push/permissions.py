"""Who may change what.

Owners and buyers change what they see. Tasters change their own tastings, the samples that they made while they are
samples, and the words that they made. Viewers change nothing.
"""

from collections.abc import Iterator
from dataclasses import replace

from django.utils.translation import gettext as _

from lots.merge import MergeOutcome
from tastings.actions.push.change import Change
from tastings.actions.push.pending import PendingRecord
from tastings.actions.push.state import PushState
from teams.errors import Problem

NOT_YOURS = "not_yours"
PURCHASE_FIELDS = ("status", "price_per_kg", "currency", "quantity_g", "arrived_on", "from_lot")
"""Fields of a lot that only owners and buyers set."""


def not_yours(change: Change, pending: PendingRecord, state: PushState) -> list[Problem]:
    """Return why the member may not make this change, if they may not."""
    if not state.member.may_write:
        return [Problem("", "not_allowed", _("your role only reads"))]
    if state.member.decides:
        return []
    if change.type in ("infusion", "note"):
        named = pending.values.get("session") or change.fields.get("session")
        session = state.find("session", named) if named is not None else None
        if session is None or _is_own(session, state):
            return []
        return [Problem("session", NOT_YOURS, _("only its taster, a buyer or an owner changes this"))]
    if not _is_own(pending, state):
        return [Problem("id", NOT_YOURS, _("only who made it, a buyer or an owner changes this"))]
    return list(_purchase_problems(change, pending))


def without_purchase_repeats(change: Change, pending: PendingRecord, state: PushState) -> Change:
    """Leave out what a taster repeats of a lot's purchase, as a phone that sends all fields does.

    Merged, it would get the taster's stamp, and a buyer's edit of before would lose against it. It stays left out when
    the change comes again and its sender is a buyer by then.
    """
    if change.type != "lot":
        return change
    was_left_out = _was_received_without if state.member.decides else _is_repeated
    names = {name for name in PURCHASE_FIELDS if name in change.fields and was_left_out(name, change, pending)}
    if not names:
        return change
    return replace(change, fields={name: value for name, value in change.fields.items() if name not in names})


def is_repeat(outcome: MergeOutcome, *, lost_before: set[str]) -> bool:
    """Whether a change brings nothing that the server does not have, in the record or in its history."""
    return not outcome.stamped and all(lost.field in lost_before for lost in outcome.lost)


def _is_own(pending: PendingRecord, state: PushState) -> bool:
    return pending.row is None or pending.row.author_id == state.member.user_id


def _purchase_problems(change: Change, pending: PendingRecord) -> Iterator[Problem]:
    if pending.values.get("status") not in (None, "sample"):
        yield Problem("status", NOT_YOURS, _("is no sample any more: a buyer or an owner changes it"))
        return
    for name in PURCHASE_FIELDS:
        value = change.fields.get(name)
        if name not in change.fields or (name, value) == ("status", "sample"):
            continue
        if value != pending.values.get(name):
            yield Problem(name, NOT_YOURS, _("is set by a buyer or an owner"))


def _is_repeated(name: str, change: Change, pending: PendingRecord) -> bool:
    return change.fields[name] == pending.values.get(name)


def _was_received_without(name: str, change: Change, pending: PendingRecord) -> bool:
    """Whether the record has other fields of this change: its number among the device's changes identifies it."""
    if change.stamp is None or not change.stamp.seq:
        return False
    taken = {field for field, stamp in pending.current.stamps.items() if stamp.order == change.stamp.order}
    return bool(taken) and name not in taken
