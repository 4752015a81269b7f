"""One live infusion of a number per session, judged on how the whole push leaves the session.

A phone that inserts a forgotten rinse renumbers every infusion, so no order of the changes would do one by one.
"""

from collections import defaultdict
from collections.abc import Collection, Sequence
from uuid import UUID

from tastings.actions.push.change import Change
from tastings.actions.push.pending import PendingRecord
from tastings.actions.push.rows import id_in
from tastings.actions.push.state import PushState
from tastings.models import Infusion


def infusions_with_taken_numbers(state: PushState) -> list[PendingRecord]:
    """Return those of the changed infusions that would share their session's number with another infusion."""
    changed = state.dirty("infusion")
    live = [pending for pending in changed if not pending.current.removed]
    if not live:
        return []
    by_number: dict[tuple[str, object], list[PendingRecord]] = defaultdict(list)
    for pending in live:
        by_number[str(pending.values["session"]), pending.values["number"]].append(pending)
    stored = {pending.id for pending in map(state.session_of, live) if pending.row is not None}
    unchanged = _numbers_of_others(changed, stored, live)
    taken: list[PendingRecord] = []
    for number, infusions in by_number.items():
        if number in unchanged:
            taken += [pending for pending in infusions if _is_numbered_here(pending)]
        elif len(infusions) > 1:
            taken += [pending for pending in infusions if _is_numbered_here(pending)][-1:]
    return taken


def change_to_refuse(infusion: PendingRecord, changes: Sequence[Change], *, refused: Collection[int]) -> int:
    """Return the index of the last accepted change that gave the infusion its number, else of its last change."""
    accepted = [i for i, change in enumerate(changes) if change.id == infusion.id and i not in refused]
    numbering = [i for i in accepted if changes[i].type == "infusion" and "number" in changes[i].fields]
    return (numbering or accepted)[-1]


def _numbers_of_others(
    changed: Collection[PendingRecord], sessions: Collection[UUID], live: Collection[PendingRecord]
) -> set[tuple[str, object]]:
    """Return session and number of the stored sessions' live infusions that this push does not change."""
    if not sessions or not any(_is_numbered_here(pending) for pending in live):
        return set()
    others = Infusion.objects.filter(session_id__in=sessions, removed=False)
    others = others.exclude(id_in(pending.id for pending in changed))
    return {(str(session), number) for session, number in others.values_list("session_id", "number")}


def _is_numbered_here(pending: PendingRecord) -> bool:
    """Whether this push gave the infusion its number or restored it."""
    return pending.row is None or pending.row.removed or pending.values["number"] != pending.stored.values["number"]
