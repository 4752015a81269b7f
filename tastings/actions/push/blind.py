"""Sessions of blind cups: only the cup gives them a lot, once the flight is revealed.

The lot then has the stamp of the cup: whoever named the cup named the lot. So it does not matter whether a session
came before the reveal or after it, and a session that was deleted is not restored by the reveal.
"""

from dataclasses import replace
from uuid import UUID

from lots.merge import StampedRecord
from lots.schema import uuid_of
from tastings.actions.push.change import Change
from tastings.actions.push.pending import PendingRecord
from tastings.actions.push.state import PushState


def without_known_lot(change: Change, pending: PendingRecord) -> Change:
    """Leave out the lot of a blind session, which a phone that sends all fields repeats."""
    if "lot" not in change.fields or not pending.values.get("flight_cup"):
        return change
    if change.fields["lot"] not in (None, pending.values.get("lot")):
        return change  # the checks refuse it
    return replace(change, fields={name: value for name, value in change.fields.items() if name != "lot"})


def set_lot(session: StampedRecord, lot: UUID) -> None:
    """Write the lot into the session of a cup."""
    session.values["lot"] = str(lot)
    session.stamps["lot"] = session.stamps["flight_cup"]


def set_revealed_lots(state: PushState) -> None:
    """Write the lots into new sessions that come after the reveal of their flight."""
    for pending in state.dirty("session"):
        cup_id = pending.values.get("flight_cup")
        if cup_id and pending.values.get("lot") is None:
            cup = state.cups.get(uuid_of(str(cup_id)))
            if cup is not None and not cup.flight.is_blind:
                set_lot(pending.current, cup.lot_id)
