"""Checking each change and merging it into its record, in memory."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from lots.merge import LostValue
from lots.models import FieldHistory
from lots.schema import uuid_of
from tastings.actions.push.blind import set_revealed_lots, without_known_lot
from tastings.actions.push.change import Change, Verdict, VerdictName
from tastings.actions.push.checks import find_problems
from tastings.actions.push.explaining import deleted_parents, lost_fields
from tastings.actions.push.numbers import change_to_refuse, infusions_with_taken_numbers
from tastings.actions.push.permissions import is_repeat, not_yours, without_purchase_repeats
from tastings.actions.push.repeats import ReceivedBefore, stored_history
from tastings.actions.push.state import PushState
from tastings.actions.quotas import quota_problem
from tastings.schemas import RECORD_SCHEMAS
from teams.errors import Problem

_NEEDS_RECORD = frozenset(("required", "unknown_record"))
"""Problems of a change that comes before the one that creates its record."""


@dataclass(frozen=True, slots=True)
class _Result:
    """What was decided about a change."""

    verdict: VerdictName
    problems: Sequence[Problem] = ()
    lost: Sequence[LostValue] = ()
    """Values of a change that has lost altogether."""


class Applier:
    """Applies changes to the state of a push and decides the verdict on each."""

    def __init__(
        self,
        state: PushState,
        changes: Sequence[Change],
        *,
        device: UUID,
        now: datetime,
        before: ReceivedBefore,
    ) -> None:
        self._state, self._changes, self._device, self._now = state, changes, device, now
        self._before = before
        self._results: dict[int, _Result] = {}

    def apply_all(self) -> None:
        """Apply every change, parents first; the order of changes within a push does not matter."""
        for type_name in RECORD_SCHEMAS:
            indexes = [i for i, change in enumerate(self._changes) if change.type == type_name]
            for i in self._samples_first(indexes) if type_name == "lot" else indexes:
                self._apply(i)
            self._apply_again(indexes)
            if type_name == "infusion":
                self._refuse_taken_numbers()
        set_revealed_lots(self._state)
        self._recognise_repeats()

    def verdicts(self) -> list[Verdict]:
        """Return one verdict per change, once the records have been stored."""
        deleted = self._state.deleted_ids()
        return [self._verdict(i, deleted) for i in range(len(self._changes))]

    def _apply(self, i: int) -> None:
        """Check one change and merge it into its record, or refuse it."""
        pending = self._state.record_of(self._changes[i])
        change = without_purchase_repeats(self._changes[i], pending, self._state)
        change, sent_key = self._with_merge_target(without_known_lot(change, pending))
        if left_out := self._before.might_win.get(i):
            change = replace(change, fields={k: v for k, v in change.fields.items() if k not in left_out})
        by = self._state.member.user_id
        merged, outcome = pending.try_merge(change, device=self._device, by=by, now=self._now)
        known = is_repeat(outcome, lost_before=self._before.lost.get(i, set()))
        problems = [] if known else not_yours(change, pending, self._state)
        if problems := problems or find_problems(change, pending, merged, state=self._state, now=self._now):
            self._results[i] = _Result("refused", problems)
            return
        if not pending.exists and (full := self._state.allowance.full_quota(change.type, change.id)) is not None:
            self._results[i] = _Result("refused", [quota_problem(full)])
            return
        if sent_key is not None and merged.stamps.get("descriptor") != pending.current.stamps.get("descriptor"):
            pending.lost.append(LostValue("descriptor", sent_key, merged.stamps["descriptor"]))
        pending.accept(merged, outcome)
        if outcome.stamped:
            has_no_effect = change.deletes != pending.current.removed
            self._results[i] = _Result("merged" if outcome.outdated or has_no_effect else "applied")
        else:
            self._results[i] = _Result("merged" if outcome.lost else "unchanged", lost=outcome.lost)

    def _with_merge_target(self, change: Change) -> tuple[Change, str | None]:
        """Replace the key of a merged descriptor in a note by its target's; return the key sent too."""
        sent_key = change.fields.get("descriptor")
        target = self._state.merge_target(sent_key) if sent_key is not None else None
        if target is None:
            return change, None
        return replace(change, fields={**change.fields, "descriptor": target.key}), str(sent_key)

    def _apply_again(self, indexes: Sequence[int]) -> None:
        """Apply changes again that came before the one which created their record."""
        for i in indexes:
            early = any(problem.code in _NEEDS_RECORD for problem in self._results[i].problems)
            if early and self._state.record_of(self._changes[i]).exists:
                self._apply(i)

    def _refuse_taken_numbers(self) -> None:
        """Refuse changes until no two live infusions of a session have one number."""
        while infusions := infusions_with_taken_numbers(self._state):
            for infusion in infusions:
                number = infusion.values["number"]
                refused = change_to_refuse(infusion, self._changes, refused=self._refused())
                detail = _("the session has an infusion %(number)s already") % {"number": number}
                self._results[refused] = _Result("refused", [Problem("number", "taken", detail)])
                infusion.reset()
                for i, change in enumerate(self._changes):
                    if change.type == "infusion" and change.id == infusion.id and i not in self._refused():
                        self._apply(i)

    def _refused(self) -> set[int]:
        return {i for i, result in self._results.items() if result.verdict == "refused"}

    def _samples_first(self, indexes: Sequence[int]) -> list[int]:
        """Order changes of lots so that a sample comes before the lot that was bought from it."""
        waiting, ordered = list(indexes), list[int]()
        while waiting:
            ahead = {self._changes[i].id for i in waiting}
            free = [i for i in waiting if not self._waits_for_sample(i, ahead)]
            ordered += free or waiting
            waiting = [i for i in waiting if i not in free] if free else []
        return ordered

    def _waits_for_sample(self, i: int, ahead: set[UUID]) -> bool:
        sample = self._changes[i].fields.get("from_lot")
        return sample is not None and uuid_of(str(sample)) in ahead - {self._changes[i].id}

    def _recognise_repeats(self) -> None:
        """Report a losing change as unchanged, not merged, if the history shows that it lost before."""
        lost = {i: result.lost for i, result in self._results.items() if result.lost}
        records = {i: self._changes[i].id for i in lost}
        known = stored_history((records[i], value) for i, values in lost.items() for value in values)
        for i, values in lost.items():
            if all(FieldHistory.history_id(records[i], value) in known for value in values):
                self._results[i] = _Result("unchanged")

    def _verdict(self, i: int, deleted: Collection[str]) -> Verdict:
        change, result = self._changes[i], self._results[i]
        pending = self._state.record_of(change)
        refused = result.verdict == "refused"
        return Verdict(
            type=change.type,
            id=str(change.id),
            verdict=result.verdict,
            revision=pending.revision,
            problems=result.problems if refused else deleted_parents(pending, deleted),
            lost=() if refused else lost_fields(without_known_lot(change, pending), pending),
        )
