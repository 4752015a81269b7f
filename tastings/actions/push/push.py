"""A device's edits, merged into the team's records in one transaction.

The team's row is locked first: writers of one team take turns, revisions are handed out in the order of commits,
and a reader that has seen a revision has seen every one below it. The lock leaves the row's key alone, or it would
stand in the way of every row that merely refers to the team.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from uuid import UUID

from django.db import IntegrityError, ProgrammingError, transaction
from django.utils.translation import gettext as _

from lots.merge import LostValue
from lots.models import FieldHistory
from lots.schema import uuid_of
from tastings.actions.due import mark_due
from tastings.actions.flights.asking import ask_for_answers
from tastings.actions.push.blind import cups_touched, name_lots, without_lot
from tastings.actions.push.change import Change, Verdict, read_change
from tastings.actions.push.checks import problems_of
from tastings.actions.push.numbers import clashes, to_blame
from tastings.actions.push.pending import Draft
from tastings.actions.push.rows import among, checked_now
from tastings.actions.push.state import Ground
from tastings.actions.push.store import heard_before, lots_touched, store
from tastings.schemas import RECORD_SCHEMAS
from teams.errors import Problem
from teams.models import Member, Team
from teams.row_security import is_refusal


def push(member: Member, *, device: UUID, sent: Sequence[object], now: datetime) -> list[Verdict]:
    """Take what a phone sent; return one verdict per change, in the order sent."""
    read = [read_change(item, device=str(device), by=member.user_id, now=now) for item in sent]
    changes = [item for item in read if isinstance(item, Change)]
    verdicts = iter(push_changes(member, device=device, changes=changes, now=now))
    return [next(verdicts) if isinstance(item, Change) else item for item in read]


def push_changes(
    member: Member, *, device: UUID, changes: Sequence[Change], now: datetime, for_whole_team: bool = False
) -> list[Verdict]:
    """Merge checked changes; return one verdict each, in their order.

    ``for_whole_team`` reaches into sessions that are private to others or still blind, for what concerns all notes.

    The checks here see all that the database would refuse. Should it still refuse something (another team took the
    same new id a moment ago), each change is tried by itself, so that only the one at fault is turned down.
    """
    if not changes:
        return []
    if not member.may_write:
        reason = [Problem("", "not_allowed", _("your role only reads"))]
        return [Verdict(type=c.type, id=str(c.id), verdict="refused", problems=reason) for c in changes]
    try:
        with transaction.atomic():
            run = _Push(member, device=device, changes=changes, now=now, for_whole_team=for_whole_team)
            return run.run()
    except (IntegrityError, ProgrammingError) as error:
        if not (isinstance(error, IntegrityError) or is_refusal(error)):
            raise
        if len(changes) == 1:
            problem = Problem("", "conflict", _("does not fit with what is stored"))
            only = changes[0]
            return [Verdict(type=only.type, id=str(only.id), verdict="refused", problems=[problem])]
    ordered = sorted(range(len(changes)), key=lambda i: list(RECORD_SCHEMAS).index(changes[i].type))
    single = {
        i: push_changes(member, device=device, changes=[changes[i]], now=now, for_whole_team=for_whole_team)[0]
        for i in ordered
    }
    return [single[i] for i in range(len(changes))]


class _Push:
    """One run over one set of changes, inside a transaction."""

    def __init__(
        self, member: Member, *, device: UUID, changes: Sequence[Change], now: datetime, for_whole_team: bool
    ) -> None:
        self._for_whole_team = for_whole_team
        self._member, self._device, self._changes, self._now = member, device, changes, now
        self._refused: dict[int, Sequence[Problem]] = {}
        self._words: dict[int, str] = {}
        self._losses: dict[int, list[LostValue]] = {}

    def run(self) -> list[Verdict]:
        team = Team.objects.select_for_update(no_key=True).get(id=self._member.team_id)
        self._ground = Ground(self._member, self._changes, for_whole_team=self._for_whole_team)
        self._heard = self._heard_with_wrong_clock()
        for type_name in RECORD_SCHEMAS:
            mine = [i for i, change in enumerate(self._changes) if change.type == type_name]
            for i in self._parents_first(mine) if type_name == "lot" else mine:
                self._try(i)
            self._try_again(mine)
            if type_name == "session":
                name_lots(self._ground)
            if type_name == "infusion":
                self._settle_numbers()
        self._recognise_repeats()
        revision = store(self._ground, revision=team.revision, now=self._now)
        if revision != team.revision:
            Team.objects.filter(id=team.id).update(revision=revision)
            mark_due(team.id, lots_touched(self._ground), revision=revision, now=self._now)
            ask_for_answers(cups_touched(self._ground), now=self._now)
            checked_now()
        return [self._verdict(i) for i in range(len(self._changes))]

    def _try(self, i: int) -> None:
        draft = self._ground.draft_of(self._changes[i])
        change, word_sent = self._with_word_in_use(without_lot(self._changes[i], draft))
        if known := self._heard.get(i):
            change = Change(type=change.type, id=change.id, stamp=change.stamp, expected=change.expected,
                            fields={k: v for k, v in change.fields.items() if k not in known})  # fmt: skip
        trial, outcome = draft.attempt(change, device=self._device, by=self._member.user_id, now=self._now)
        if problems := problems_of(change, draft, trial, ground=self._ground):
            self._refused[i] = problems
            return
        if word_sent is not None and trial.stamps.get("descriptor") != draft.copy.stamps.get("descriptor"):
            draft.lost.append(LostValue("descriptor", word_sent, trial.stamps["descriptor"]))
        draft.accept(trial, outcome)
        self._losses[i] = list(outcome.lost) if outcome.outdated and not outcome.stamped else []
        if outcome.stamped:
            ineffective = change.deletes != draft.copy.removed
            self._words[i] = "merged" if outcome.outdated or ineffective else "applied"
        else:
            self._words[i] = "merged" if outcome.lost else "unchanged"

    def _with_word_in_use(self, change: Change) -> tuple[Change, str | None]:
        """Put what a word was merged into in its place; return the word sent too, for the note's history."""
        sent = change.fields.get("descriptor") if change.type == "note" else None
        word = self._ground.merged(sent) if sent is not None else None
        if word is None:
            return change, None
        return replace(change, fields={**change.fields, "descriptor": word.key}), str(sent)

    def _try_again(self, indexes: Sequence[int]) -> None:
        """Try edits again that came before the edit which made their record: the order within a body is no matter."""
        for i in indexes:
            early = {problem.code for problem in self._refused.get(i, ())} & {"required", "unknown_record"}
            if early and self._ground.draft_of(self._changes[i]).exists:
                del self._refused[i]
                self._try(i)

    def _settle_numbers(self) -> None:
        """Turn down changes until no two live infusions of a session have one number."""
        drafts = self._ground.drafts["infusion"]
        while found := clashes(drafts.values()):
            for draft in found:
                blamed = to_blame(draft, self._changes, refused=self._refused)
                number = draft.values["number"]
                self._refused[blamed] = [
                    Problem("number", "taken", _("the session has an infusion %(number)s already") % {"number": number})
                ]
                draft.restart()
                for i, change in enumerate(self._changes):
                    if change.type == "infusion" and change.id == draft.id and i not in self._refused:
                        self._try(i)

    def _parents_first(self, indexes: Sequence[int]) -> list[int]:
        """Order lot changes so that a sample comes before what was bought from it."""
        waiting, ordered = list(indexes), list[int]()
        while waiting:
            ahead = {self._changes[i].id for i in waiting}
            free = [i for i in waiting if not self._waits(i, ahead)]
            ordered += free or waiting
            waiting = [i for i in waiting if i not in free] if free else []
        return ordered

    def _waits(self, i: int, ahead: set[UUID]) -> bool:
        parent = self._changes[i].fields.get("from_lot")
        return parent is not None and uuid_of(str(parent)) in ahead - {self._changes[i].id}

    def _heard_with_wrong_clock(self) -> Mapping[int, set[str]]:
        """Return fields whose value came before under a clock ahead of ours and lost since.

        Such an edit is stamped with the server's moment of hearing it. Sent again it would be stamped later and win;
        so it would after our clock has reached what it said, when it looks like any other.
        """
        ids: dict[UUID, list[tuple[int, str]]] = {}
        for i, change in enumerate(self._changes):
            if change.stamp is not None and self._ground.find(change.type, change.id) is not None:
                for name, value in change.fields.items():
                    ids.setdefault(FieldHistory.history_id(change.id, LostValue(name, value, change.stamp)), []).append(
                        (i, name)
                    )
        heard: dict[int, set[str]] = {}
        if ids:
            drawn_back = FieldHistory.objects.filter(id__in=among(ids)).exclude(claimed_at="")
            for found in drawn_back.values_list("id", flat=True):
                for i, name in ids[found]:
                    heard.setdefault(i, set()).add(name)
        return heard

    def _recognise_repeats(self) -> None:
        """Tell a change that lost just now from one that was known to have lost."""
        suspects = [i for i, lost in self._losses.items() if lost and i not in self._refused]
        drafts: list[Draft] = [self._ground.draft_of(self._changes[i]) for i in suspects]
        known = heard_before(drafts)
        for i, draft in zip(suspects, drafts, strict=True):
            if all(FieldHistory.history_id(draft.id, item) in known for item in self._losses[i]):
                self._words[i] = "unchanged"

    def _verdict(self, i: int) -> Verdict:
        change = self._changes[i]
        draft = self._ground.draft_of(change)
        problems = self._refused.get(i, ())
        word = "refused" if problems else self._words[i]
        revision = draft.revision if draft.row is not None or draft.dirty else None
        return Verdict(type=change.type, id=str(change.id), verdict=word, revision=revision, problems=problems)
