"""Changes received before: what of them lost is in the history, so that receiving them again changes nothing."""

from collections.abc import Iterable, Mapping, Sequence
from uuid import UUID

from lots.merge import LostValue
from lots.models import FieldHistory
from tastings.actions.push.change import Change
from tastings.actions.push.rows import id_in
from tastings.actions.push.state import PushState


def fields_received_before(state: PushState, changes: Sequence[Change]) -> Mapping[int, set[str]]:
    """Return, by the change's index, fields whose value came before and has lost since, where it might win now.

    So might one that has no number among its device's changes, against a value of the same moment. And one from a clock
    ahead of ours:
    it has the server's moment as its stamp. Received again it would get a later stamp and win; so it would
    after the server's clock has reached the reported moment, when the edit looks like any other.
    """
    named: dict[UUID, list[tuple[int, str]]] = {}
    for i, change in enumerate(changes):
        if change.stamp is not None and state.find(change.type, change.id) is not None:
            for name, value in change.fields.items():
                row = FieldHistory.history_id(change.id, LostValue(name, value, change.stamp))
                named.setdefault(row, []).append((i, name))
    received: dict[int, set[str]] = {}
    if named:
        lost = FieldHistory.objects.filter(id_in(named)).values_list("id", "claimed_at")
        for row, claimed_at in lost:
            for i, name in named[row]:
                stamp = changes[i].stamp
                if claimed_at or (stamp is not None and not stamp.seq):
                    received.setdefault(i, set()).add(name)
    return received


def stored_history(lost: Iterable[tuple[UUID, LostValue]]) -> set[UUID]:
    """Return the ids of the history rows that are stored already, of records' lost values."""
    ids = [FieldHistory.history_id(record, value) for record, value in lost]
    return set(FieldHistory.objects.filter(id_in(ids)).values_list("id", flat=True)) if ids else set()
