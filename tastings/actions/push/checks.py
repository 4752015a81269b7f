"""Checks of a change beyond each field's own limits: references, fixed fields, who may change what."""

from collections.abc import Iterator
from datetime import datetime, timedelta

from django.utils.translation import gettext as _

from lots.merge import StampedRecord
from lots.schema import Field, record_faults, uuid_of
from lots.wording import field_problem
from tastings.actions.push.change import Change
from tastings.actions.push.pending import PendingRecord
from tastings.actions.push.state import PushState
from teams.errors import Problem

NEW = 0
"""As the expected revision: the record must not exist yet."""
UNKNOWN_PARENT = "unknown_parent"
LATEST_START = timedelta(days=2)
"""So far ahead of the server's clock a session may begin: somewhere it is tomorrow, and clocks are wrong."""


def find_problems(
    change: Change, pending: PendingRecord, merged: StampedRecord, *, state: PushState, now: datetime
) -> list[Problem]:
    """Return why the change must be refused, if it must; ``merged`` is what it would make of the record."""
    if change.id in state.built_in:
        return [Problem("id", "not_allowed", _("a built-in descriptor cannot be changed"))]
    faults = _whole_record(pending, merged)
    if not pending.exists:
        if change.deletes:
            return [Problem("id", "unknown_record", _("there is no such %(type)s here") % {"type": change.type})]
        if faults:
            return faults
        if change.id in state.used_ids or state.is_of_another_type(change):
            return [Problem("id", "taken", _("choose another id"))]
    elif change.expected == NEW:
        return [Problem("id", "taken", _("there is a %(type)s with this id already") % {"type": change.type})]
    elif change.expected is not None and change.expected != pending.revision:
        values = {"type": change.type, "revision": pending.revision}
        return [Problem("", "changed", _("the %(type)s is at revision %(revision)s") % values)]
    if change.deletes:
        return []
    return [
        *faults,
        *_fixed_fields(change, pending),
        *_references(change, pending, state),
        *_rules_of_type(change, pending, merged, state=state, now=now),
    ]


def _whole_record(pending: PendingRecord, merged: StampedRecord) -> list[Problem]:
    faults = record_faults(pending.schema, merged.values, new=not pending.exists)
    return [field_problem(name, fault) for name, fault in faults]


def _fixed_fields(change: Change, pending: PendingRecord) -> Iterator[Problem]:
    for field in pending.schema.fixed if pending.exists else ():
        if field.name in change.fields and change.fields[field.name] != pending.values.get(field.name):
            yield Problem(field.name, "fixed", _("cannot change once it is set"))


def _references(change: Change, pending: PendingRecord, state: PushState) -> Iterator[Problem]:
    for field in pending.schema.references:
        value = change.fields.get(field.name)
        if value is None:
            continue
        if field.kind == "reference" and uuid_of(str(value)) == change.id:
            yield Problem(field.name, "itself", _("a %(type)s cannot refer to itself") % {"type": change.type})
        elif not _is_known(field, value, pending, state):
            detail = _("the server has no such %(type)s yet") % {"type": field.to or "descriptor"}
            yield Problem(field.name, UNKNOWN_PARENT, detail)


def _is_known(field: Field, value: object, pending: PendingRecord, state: PushState) -> bool:
    match field.to:
        case None:
            return state.descriptor_id(value) is not None
        case "shop":
            return uuid_of(str(value)) in state.shops
        case "flight_cup":
            return uuid_of(str(value)) in state.cups or value == pending.values.get(field.name)
        case record_type:
            return state.find(record_type, value) is not None


def _rules_of_type(
    change: Change, pending: PendingRecord, merged: StampedRecord, *, state: PushState, now: datetime
) -> Iterator[Problem]:
    if change.type == "session":
        yield from _session_rules(change, pending, merged, state)
        yield from _start(change, pending, now)
    elif change.type == "lot":
        if change.fields.get("from_lot") is not None and _is_circle(change, merged, state):
            yield Problem("from_lot", "circle", _("leads back to this lot"))
    elif change.type == "note":
        infusion = merged.values.get("infusion")
        parent = state.find("infusion", infusion) if infusion is not None else None
        if parent is not None and parent.values["session"] != merged.values["session"]:
            yield Problem("infusion", "other_session", _("is an infusion of another session"))
    elif change.type == "descriptor" and _is_key_taken(change, str(merged.values.get("key")), state):
        yield Problem("key", "taken", _("there is a descriptor with this key already"))


def _session_rules(
    change: Change, pending: PendingRecord, merged: StampedRecord, state: PushState
) -> Iterator[Problem]:
    cup = merged.values.get("flight_cup")
    known_cup = cup and (pending.exists or uuid_of(str(cup)) in state.cups)
    if known_cup and merged.values.get("lot") != pending.values.get("lot"):
        yield Problem("lot", "not_allowed", _("is set when the flight is revealed"))
    if pending.row is not None and "private" in change.fields:
        taster = pending.row.server_values()["taster"]
        if change.fields["private"] != pending.values["private"] and taster != str(state.member.user_id):
            yield Problem("private", "not_allowed", _("only the taster may change this"))


def _start(change: Change, pending: PendingRecord, now: datetime) -> Iterator[Problem]:
    """Refuse a session that begins far in the future: a slip of the thumb, or a clock that is wrong by days."""
    started_at = change.fields.get("started_at")
    if started_at is None or started_at == pending.values.get("started_at"):
        return
    if datetime.fromisoformat(str(started_at)) > now + LATEST_START:
        yield Problem("started_at", "future", _("lies more than two days ahead"))


def _is_circle(lot: Change, merged: StampedRecord, state: PushState) -> bool:
    """Whether following the samples from a lot leads back to it, by way of another."""
    seen = {lot.id}
    sample = merged.values.get("from_lot")
    if uuid_of(str(sample)) == lot.id:
        return False  # refused as such
    while sample is not None:
        if (next_id := uuid_of(str(sample))) in seen:
            return True
        seen.add(next_id)
        sample = state.sample_of(next_id)
    return False


def _is_key_taken(change: Change, key: str, state: PushState) -> bool:
    """Whether another live descriptor, stored or of this push, has the key."""
    records = state.records["descriptor"]
    stored = {row.id for row in state.descriptors.get(key, ()) if not row.removed}
    pushed = {other.id for other in records.values() if other.is_live and other.values["key"] == key}
    return bool(((stored - records.keys()) | pushed) - {change.id})
