"""Changes received before: their lost values are in the history, so receiving them again changes nothing."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from lots.merge import LostValue
from lots.models import FieldHistory
from tastings.actions.push.change import Change
from tastings.actions.push.rows import id_in
from tastings.actions.push.state import PushState


@dataclass(frozen=True, slots=True)
class ReceivedBefore:
    """Fields of changes whose value came before and has lost since: the history holds it."""

    lost: Mapping[int, set[str]]
    """By the change's index. With the record's stamps they show whether a change was accepted before."""
    might_win: Mapping[int, set[str]]
    """Those among them that are left out, since they might win now.

    So might one that has no number among its device's changes, against a value of the same moment. And one from a clock
    ahead of ours: it has the server's moment as its stamp. Received again it would get a later stamp and win; so it
    would after the server's clock has reached the reported moment, when the edit looks like any other.
    """


def received_before(state: PushState, changes: Sequence[Change]) -> ReceivedBefore:
    """Look the changes of stored records up in the history."""
    named: dict[UUID, list[tuple[int, str, int]]] = {}
    for i, change in enumerate(changes):
        if (stamp := change.stamp) is not None and state.find(change.type, change.id) is not None:
            for name, value in change.fields.items():
                row = FieldHistory.history_id(change.id, LostValue(name, value, stamp))
                named.setdefault(row, []).append((i, name, stamp.seq))
    lost: dict[int, set[str]] = {}
    might_win: dict[int, set[str]] = {}
    if named:
        for row, claimed_at in FieldHistory.objects.filter(id_in(named)).values_list("id", "claimed_at"):
            for i, name, seq in named[row]:
                lost.setdefault(i, set()).add(name)
                if claimed_at or not seq:
                    might_win.setdefault(i, set()).add(name)
    return ReceivedBefore(lost, might_win)


def stored_history(lost: Iterable[tuple[UUID, LostValue]]) -> set[UUID]:
    """Return the ids of the history rows that are stored already, of records' lost values."""
    ids = [FieldHistory.history_id(record, value) for record, value in lost]
    return set(FieldHistory.objects.filter(id_in(ids)).values_list("id", flat=True)) if ids else set()
