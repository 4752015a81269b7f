"""Corrections of others' tastings, which owners and buyers make, go into the audit log."""

from collections.abc import Iterator
from datetime import datetime

from lots.merge import Stamp
from tastings.actions.push.pending import PendingRecord
from tastings.actions.push.state import PushState
from tastings.audit_events import TastingEvent
from teams.actions.audit import record_events


def record_corrections(state: PushState, *, now: datetime) -> None:
    """Add an entry for each record that this push changes in another member's session: which fields, no values."""
    abouts = [
        {
            "type": pending.schema.type,
            "record": str(pending.id),
            "session": str(session.id),
            "taster": str(session.row.author_id),
            "fields": sorted(name for name, stamp in pending.current.stamps.items() if _is_new(name, stamp, pending)),
        }
        for pending, session in _with_sessions(state)
        if session.row is not None and session.row.author_id != state.member.user_id
    ]
    member = state.member
    record_events(team=member.team_id, login=member.user_id, event=TastingEvent.CORRECTION, abouts=abouts, now=now)


def _with_sessions(state: PushState) -> Iterator[tuple[PendingRecord, PendingRecord]]:
    """Yield each changed session, infusion and note with its session."""
    for session in state.dirty("session"):
        yield session, session
    for type_name in ("infusion", "note"):
        for pending in state.dirty(type_name):
            yield pending, state.session_of(pending)


def _is_new(name: str, stamp: Stamp, pending: PendingRecord) -> bool:
    return pending.stored.stamps.get(name) != stamp
