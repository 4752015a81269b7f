"""A device's changes, merged into the team's records in one transaction.

The team's row is locked first: writers of one team take turns, revisions are given in the order of commits, and a
reader that has seen a revision has seen every one below it. The lock leaves the row's key alone, or it would block
every insert that refers to the team.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import IntegrityError, ProgrammingError, transaction
from django.utils.translation import gettext as _

from tastings.actions.due import enqueue_marked, mark_due_statement
from tastings.actions.push.applying import Applier
from tastings.actions.push.change import Change, Verdict, read_change, refused
from tastings.actions.push.corrections import record_corrections
from tastings.actions.push.lot_edits import record_lot_edits
from tastings.actions.push.reading import read_state
from tastings.actions.push.repeats import received_before
from tastings.actions.push.rows import CHECK_CONSTRAINTS
from tastings.actions.push.state import PushState
from tastings.actions.push.store import changed_lots, changed_photo_parents, store
from tastings.actions.push.written import written_rows
from tastings.queries.written_rows import Written
from tastings.schemas import RECORD_SCHEMAS
from teams.errors import Problem
from teams.models import Member
from teams.postgresql.together import Statement, run_together
from teams.row_security import is_row_security_error, renew_photos_statement


@dataclass(frozen=True, slots=True)
class Pushed:
    """One verdict per change, in the order sent, and what was stored if a pull need not read it back."""

    verdicts: list[Verdict]
    written: Written | None = None


def push(member: Member, *, device: UUID, sent: Sequence[object], now: datetime) -> Pushed:
    """Take what a phone sent."""
    sender = {"device": str(device), "by": str(member.user_id)}
    items = [read_change(item, **sender, now=now) for item in sent]
    changes = [item for item in items if isinstance(item, Change)]
    pushed = _push_or_each(member, device=device, changes=changes, now=now, for_whole_team=False)
    verdicts = iter(pushed.verdicts)
    return Pushed([next(verdicts) if isinstance(item, Change) else item for item in items], pushed.written)


def push_changes(
    member: Member, *, device: UUID, changes: Sequence[Change], now: datetime, for_whole_team: bool = False
) -> list[Verdict]:
    """Merge checked changes; return one verdict each, in their order.

    ``for_whole_team`` lets them change private and blind sessions of others, for what concerns all notes.
    """
    return _push_or_each(member, device=device, changes=changes, now=now, for_whole_team=for_whole_team).verdicts


def _push_or_each(
    member: Member, *, device: UUID, changes: Sequence[Change], now: datetime, for_whole_team: bool
) -> Pushed:
    """Push all changes together, or one by one.

    The checks find all that the database would refuse. Should it still refuse something (another team used the same
    new id a moment ago), each change is pushed by itself, so that only the one at fault is refused.
    """
    if not changes:
        return Pushed([])
    try:
        with transaction.atomic():
            return _push(member, device=device, changes=changes, now=now, for_whole_team=for_whole_team)
    except (IntegrityError, ProgrammingError) as error:
        if not (isinstance(error, IntegrityError) or is_row_security_error(error)):
            raise
        if len(changes) == 1:
            return Pushed([refused(changes[0], [Problem("", "conflict", _("does not fit with what is stored"))])])
    parents_first = sorted(range(len(changes)), key=lambda i: list(RECORD_SCHEMAS).index(changes[i].type))
    verdicts = {
        i: push_changes(member, device=device, changes=[changes[i]], now=now, for_whole_team=for_whole_team)[0]
        for i in parents_first
    }
    return Pushed([verdicts[i] for i in range(len(changes))])


def _push(member: Member, *, device: UUID, changes: Sequence[Change], now: datetime, for_whole_team: bool) -> Pushed:
    """Push in a transaction: read, apply in memory, store, return the verdicts."""
    state = read_state(member, changes, for_whole_team=for_whole_team)
    applier = Applier(state, changes, device=device, now=now, before=received_before(state, changes))
    applier.apply_all()
    revision, statements = store(state, now=now)
    if revision != state.revision:
        if not for_whole_team:
            record_corrections(state, now=now)
        record_lot_edits(state, now=now)
        _run(state, statements, revision=revision, now=now)
    return Pushed(applier.verdicts(), written_rows(state, after=state.revision, upto=revision))


def _run(state: PushState, statements: list[Statement], *, revision: int, now: datetime) -> None:
    """Store the records, and what follows from them, in one message."""
    team = state.member.team_id
    statements.append(("UPDATE teams_team SET revision = %s WHERE id = %s", [revision, team]))
    dirty = {record.id for name in RECORD_SCHEMAS for record in state.dirty(name)}
    statements += state.allowance.add_counts_statements(dirty)
    if parents := changed_photo_parents(state):
        statements.append(renew_photos_statement(team, parents))
    lots = changed_lots(state)
    due = [mark_due_statement(team, lots, revision=revision, now=now)] if lots else []
    results = run_together([*statements, *due, *CHECK_CONSTRAINTS])
    if due:
        enqueue_marked(team, results[len(statements)], now=now)
