"""Sessions of blind cups: which lot it is follows from the cup, once its flight is revealed, and from nothing else.

The lot then carries the stamp of the cup: whoever named the cup named the lot. So it does not matter whether a session
came before the reveal or after it, and a session that was deleted is not brought back by the reveal.
"""

from dataclasses import replace
from uuid import UUID

from lots.merge import StampedRecord
from lots.schema import uuid_of
from tastings.actions.push.change import Change
from tastings.actions.push.pending import Draft
from tastings.actions.push.state import Ground


def without_lot(change: Change, draft: Draft) -> Change:
    """Leave out what a phone that sends all fields says of a blind session's lot: what it knows already."""
    if change.type != "session" or "lot" not in change.fields:
        return change
    if not (change.fields.get("flight_cup") or draft.values.get("flight_cup")):
        return change
    if change.fields["lot"] not in (None, draft.values.get("lot")):
        return change  # the checks turn it down
    return replace(change, fields={name: value for name, value in change.fields.items() if name != "lot"})


def name_lot(copy: StampedRecord, lot: UUID) -> None:
    """Write the lot into a session of a cup."""
    copy.values["lot"] = str(lot)
    copy.stamps["lot"] = copy.stamps["flight_cup"]


def name_lots(ground: Ground) -> None:
    """Name the lots of new sessions that come after the reveal of their flight."""
    for draft in ground.drafts["session"].values():
        cup = draft.values.get("flight_cup")
        if draft.dirty and cup and draft.values.get("lot") is None:
            found = ground.cups.get(uuid_of(str(cup)))
            if found is not None and not found.flight.is_blind:
                name_lot(draft.copy, found.lot_id)


def cups_touched(ground: Ground) -> set[UUID]:
    """Return the cups of revealed flights whose sessions, or what hangs on them, this push changes."""
    sessions = [draft for draft in ground.drafts["session"].values() if draft.dirty]
    for type_name in ("infusion", "note"):
        sessions += [ground.session_of(draft) for draft in ground.drafts[type_name].values() if draft.dirty]
    named = [draft.values for draft in sessions if draft.values.get("flight_cup") and draft.values.get("lot")]
    return {uuid_of(str(values["flight_cup"])) for values in named}
