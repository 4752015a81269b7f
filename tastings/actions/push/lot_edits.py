"""What is done to lots goes into the audit log: which fields changed, from what to what."""

from collections import defaultdict
from collections.abc import Mapping
from datetime import datetime

from tastings.actions.push.pending import PendingRecord
from tastings.actions.push.state import PushState
from tastings.audit_events import TastingEvent
from teams.actions.audit import record_events

_PURCHASE = ("status", "from_lot", "price_per_kg", "currency", "quantity_g")
"""Of a new lot only these are listed: the rest stands in the lot itself."""


def record_lot_edits(state: PushState, *, now: datetime) -> None:
    """Add an entry for each lot that this push makes or changes; one that it leaves as it was has none."""
    abouts = defaultdict[TastingEvent, list[Mapping[str, object]]](list)
    for pending in state.dirty("lot"):
        changes = _changes(pending)
        if (event := _event(pending, changes)) is not None:
            abouts[event].append({"lot": str(pending.id), "changes": changes})
    for event, entries in abouts.items():
        record_events(team=state.member.team_id, login=state.member.user_id, event=event, abouts=entries, now=now)


def _changes(pending: PendingRecord) -> dict[str, list[object]]:
    """Return the value before and after of each changed field; remarks are named without their text."""
    before, after = pending.stored.values, pending.values
    names = [field.name for field in pending.schema.fields] if pending.row is not None else _PURCHASE
    changed = [name for name in names if before.get(name) != after.get(name)]
    return {name: [] if name == "remarks" else [before.get(name), after.get(name)] for name in changed}


def _event(pending: PendingRecord, changes: Mapping[str, object]) -> TastingEvent | None:
    """Return what was done, the most consequential of it if several things."""
    if pending.current.removed != pending.stored.removed:
        return TastingEvent.LOT_DELETED if pending.current.removed else TastingEvent.LOT_RESTORED
    status = pending.values.get("status") if "status" in changes else None
    if status == "bought":
        return TastingEvent.LOT_BOUGHT
    if pending.row is None:
        return TastingEvent.LOT_MADE
    if status == "retired":
        return TastingEvent.LOT_RETIRED
    if "price_per_kg" in changes or "currency" in changes:
        return TastingEvent.LOT_PRICED
    return TastingEvent.LOT_EDITED if changes else None
