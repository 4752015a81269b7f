"""One live infusion of a number per session, judged on how the whole push leaves the session.

A phone that inserts a forgotten rinse renumbers every pour, so no order of the changes would do one by one.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from uuid import UUID

from tastings.actions.push.change import Change
from tastings.actions.push.pending import Draft
from tastings.actions.push.rows import among
from tastings.models import Infusion


def clashes(drafts: Iterable[Draft]) -> list[Draft]:
    """Return the drafts of this push that would share their session's number with another infusion."""
    touched = [draft for draft in drafts if draft.dirty]
    live = [draft for draft in touched if not draft.copy.removed]
    if not live:
        return []
    holders: dict[tuple[str, object], list[Draft]] = defaultdict(list)
    for draft in live:
        holders[str(draft.values["session"]), draft.values["number"]].append(draft)
    moved = [draft for draft in live if _moved(draft)]
    sessions = {UUID(session) for session, _ in holders}
    standing = set()
    if moved:
        others = Infusion.objects.filter(session_id__in=sessions, removed=False)
        others = others.exclude(id__in=among(draft.id for draft in touched))
        standing = {(str(session), number) for session, number in others.values_list("session_id", "number")}
    found: list[Draft] = []
    for place, group in holders.items():
        if len(group) > 1 or place in standing:
            candidates = [draft for draft in group if _moved(draft)]
            found += candidates if place in standing else candidates[-1:]
    return found


def _moved(draft: Draft) -> bool:
    """Whether this push gave the infusion its number or brought it back."""
    return draft.row is None or draft.row.removed or draft.values["number"] != draft.held.values["number"]


def to_blame(draft: Draft, changes: Sequence[Change], *, refused: Mapping[int, object]) -> int:
    """Return which of the changes gave the draft the number it cannot have: the last that could have."""
    standing = [i for i, change in enumerate(changes) if change.id == draft.id and i not in refused]
    numbered = [i for i in standing if changes[i].type == "infusion" and "number" in changes[i].fields]
    return (numbered or standing)[-1]
