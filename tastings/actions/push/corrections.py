"""Changes of lots, and corrections of others' tastings by owners and buyers, go into the audit log.

An entry names the fields; their values are in the record's history.
"""

from collections.abc import Iterator
from datetime import datetime

from lots.merge import DELETED
from tastings.actions.push.pending import PendingRecord
from tastings.actions.push.state import PushState
from tastings.audit_events import TastingEvent
from teams.actions.audit import record_events


def record_lot_changes(state: PushState, *, now: datetime) -> None:
    """Add an entry for each lot that this push makes or changes."""
    lots = state.dirty("lot")
    made = [{"lot": str(pending.id)} for pending in lots if pending.row is None]
    changed = [
        {"type": "lot", "lot": str(pending.id), "fields": fields}
        for pending in lots
        if pending.row is not None and (fields := _changed_fields(pending))
    ]
    who = state.member
    for event, abouts in ((TastingEvent.LOT_MADE, made), (TastingEvent.LOT_CHANGE, changed)):
        record_events(team=who.team_id, who=who.user_id, event=event, abouts=abouts, now=now)


def record_corrections(state: PushState, *, now: datetime) -> None:
    """Add an entry for each record that this push changes in another member's session."""
    abouts = [
        {
            "type": pending.schema.type,
            "record": str(pending.id),
            "session": str(session.id),
            "taster": str(session.row.author_id),
            "fields": _new_fields(pending),
        }
        for pending, session in _with_sessions(state)
        if session.row is not None and session.row.author_id != state.member.user_id
    ]
    who = state.member
    record_events(team=who.team_id, who=who.user_id, event=TastingEvent.CORRECTION, abouts=abouts, now=now)


def _with_sessions(state: PushState) -> Iterator[tuple[PendingRecord, PendingRecord]]:
    """Yield each changed session, infusion and note with its session."""
    for session in state.dirty("session"):
        yield session, session
    for type_name in ("infusion", "note"):
        for pending in state.dirty(type_name):
            yield pending, state.session_of(pending)


def _changed_fields(pending: PendingRecord) -> list[str]:
    """Return the names of the fields whose value this push changes, ``deleted`` among them."""
    stored, current = pending.stored, pending.current
    names = [name for name, value in current.values.items() if name != DELETED and stored.values.get(name) != value]
    return sorted(names + [DELETED] * (stored.removed != current.removed))


def _new_fields(pending: PendingRecord) -> list[str]:
    """Return the names of the fields that this push sets or, where the value stood already, stamps anew."""
    return sorted(name for name, stamp in pending.current.stamps.items() if pending.stored.stamps.get(name) != stamp)
