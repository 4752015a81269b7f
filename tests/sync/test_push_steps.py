"""The steps of one push and what each is given: who sent it, when, and for whom; what came before. No database."""

from contextlib import nullcontext
from importlib import import_module
from types import SimpleNamespace
from uuid import UUID

import pytest
from django.db import IntegrityError, ProgrammingError
from psycopg.errors import InsufficientPrivilege, UndefinedTable

from lots.merge import LostValue
from lots.models import FieldHistory
from tastings.actions.push.change import Change, Verdict
from tastings.actions.push.repeats import received_before, stored_history
from tests.sync.push_state import FREE, LATER, LOT, ME, NOTE, NOW, OLDER, SESSION, STAMP, state_with

steps = import_module("tastings.actions.push.push")  # the package has a function of this name
DEVICE = UUID(int=8)
TEA = Change(type="lot", id=LOT, fields={"kind": "green"}, stamp=LATER)
REMARKS = Change(type="lot", id=OLDER, fields={"remarks": "round"}, stamp=LATER)
NOW_KNOWN = Change(type="lot", id=LOT, fields={"remarks": "round"}, stamp=None)
"""As made on the record's current state: it gets its stamp when it is merged, from the device and the moment."""
SENT = {"type": "lot", "id": str(LOT), "at": "2026-03-04T12:10:00Z", "fields": {"kind": "green"}}


@pytest.fixture
def push_state(monkeypatch):
    """Return the state that a push will read; it runs no statement, and stores nothing."""
    state = state_with()
    monkeypatch.setattr(steps, "transaction", SimpleNamespace(atomic=nullcontext))
    monkeypatch.setattr(steps, "read_state", lambda *_, **__: state)
    monkeypatch.setattr(steps, "received_before", lambda *_: SimpleNamespace(lost={}, might_win={}))
    monkeypatch.setattr(steps, "store", lambda state, **_: (state.revision + 1, []))
    for log in ("record_lot_edits", "record_corrections"):
        monkeypatch.setattr(steps, log, lambda *_, **__: None)
    monkeypatch.setattr(steps, "run_together", lambda statements: [[] for _ in statements])
    return state


def test_a_change_without_a_moment_is_stamped_with_device_and_time_of_the_push(push_state):
    [verdict] = steps.push_changes(push_state.member, device=DEVICE, changes=[NOW_KNOWN], now=NOW)
    stamp = push_state.records["lot"][LOT].current.stamps["remarks"]
    assert (verdict.verdict, stamp.device, stamp.by) == ("applied", str(DEVICE), str(ME))
    assert stamp.at == "2026-03-04T12:30:00.000000Z"


@pytest.mark.parametrize(
    ("given", "read"), [({}, False), ({"for_whole_team": False}, False), ({"for_whole_team": True}, True)]
)
def test_changes_of_rest_read_what_the_member_may_read_unless_they_are_for_the_whole_team(
    push_state, monkeypatch, given, read
):
    asked = []
    monkeypatch.setattr(steps, "read_state", lambda *_, for_whole_team: asked.append(for_whole_team) or push_state)
    steps.push_changes(push_state.member, device=DEVICE, changes=[TEA], now=NOW, **given)
    assert asked == [read]


def test_a_phone_pushes_for_itself_from_its_device(push_state, monkeypatch):
    asked = []
    answer = steps.Pushed([Verdict(type="lot", id=str(LOT), verdict="applied", revision=8)], object())
    monkeypatch.setattr(steps, "_push", lambda member, **given: asked.append((member, given)) or answer)
    pushed = steps.push(push_state.member, device=DEVICE, sent=[SENT], now=NOW)
    assert pushed == answer
    [(member, given)] = asked
    assert member is push_state.member
    assert (given["device"], given["now"], given["for_whole_team"]) == (DEVICE, NOW, False)
    [change] = given["changes"]
    assert (change.id, change.stamp.device, change.stamp.by) == (LOT, str(DEVICE), str(ME))


def test_a_push_answers_what_it_stored(push_state):
    push_state.records["lot"][LOT].revision = push_state.revision + 1
    pushed = steps.push(push_state.member, device=DEVICE, sent=[SENT], now=NOW)
    assert [row.id for row in pushed.written.rows] == [LOT]
    assert (pushed.written.after, pushed.written.upto) == (push_state.revision, push_state.revision + 1)


def row_security_error(cause):
    error = ProgrammingError("refused")
    error.__cause__ = cause
    return error


@pytest.mark.parametrize("error", [IntegrityError("taken"), row_security_error(InsufficientPrivilege())])
def test_what_the_database_refuses_is_pushed_one_by_one_with_what_the_push_was_given(push_state, monkeypatch, error):
    asked = []

    def refuse(member, *, changes, **given):
        asked.append((member, list(changes), given))
        if len(changes) > 1 or changes == [TEA]:
            raise error
        return steps.Pushed([Verdict(type="lot", id=str(changes[0].id), verdict="applied", revision=8)])

    monkeypatch.setattr(steps, "_push", refuse)
    given = {"device": DEVICE, "now": NOW, "for_whole_team": True}
    session = Change(type="session", id=SESSION, fields={"leaf_g": 6}, stamp=LATER)
    member = push_state.member
    verdicts = steps.push_changes(member, changes=[session, TEA, REMARKS], **given)
    assert [verdict.verdict for verdict in verdicts] == ["applied", "refused", "applied"]
    parents_first = [[session, TEA, REMARKS], [TEA], [REMARKS], [session]]
    assert asked == [(member, changes, given) for changes in parents_first]


def test_another_error_of_the_database_is_raised(push_state, monkeypatch):
    def fail(*_, **__):
        raise row_security_error(UndefinedTable())

    monkeypatch.setattr(steps, "_push", fail)
    with pytest.raises(ProgrammingError):
        steps.push_changes(push_state.member, device=DEVICE, changes=[TEA], now=NOW)


def test_edited_lots_are_made_due_and_enqueued_for_the_team_at_the_moment_of_the_push(push_state, monkeypatch):
    run, enqueued, marked = [], [], [(LOT, None, True)]

    def run_together(statements):
        run.extend(statements)
        return [marked if statement[0] == "due" else [] for statement in statements]

    monkeypatch.setattr(steps, "run_together", run_together)
    monkeypatch.setattr(steps, "mark_due_statement", lambda team, lots, **given: ("due", [team, lots, given]))
    monkeypatch.setattr(steps, "enqueue_marked", lambda *given, now: enqueued.append((*given, now)))
    team, revision = push_state.member.team_id, push_state.revision + 1
    steps.push_changes(push_state.member, device=DEVICE, changes=[REMARKS], now=NOW)
    assert ("due" in [sql for sql, _ in run], enqueued) == (False, [])
    steps.push_changes(push_state.member, device=DEVICE, changes=[TEA], now=NOW)
    assert ("due", [team, {LOT}, {"revision": revision, "now": NOW}]) in run
    assert enqueued == [(team, marked, NOW)]


class _History:
    """The stored history, as far as its ids and the reported moments are asked."""

    def __init__(self, *rows):
        self._rows = rows

    def filter(self, condition):
        return _History(*(row for row in self._rows if row[0] in condition.rhs))

    def values_list(self, *names, flat=False):
        rows = [tuple(dict(zip(("id", "claimed_at"), row, strict=True))[name] for name in names) for row in self._rows]
        return [row[0] for row in rows] if flat else rows


def test_lost_values_that_might_win_are_those_without_a_number_or_of_a_clock_ahead(monkeypatch):
    changes = [
        Change(type="lot", id=LOT, fields={"remarks": text}, stamp=LATER._replace(seq=seq))
        for text, seq in (("thin", 0), ("round", 3), ("flat", 4), ("new", 0))
    ]
    ids = [FieldHistory.history_id(LOT, LostValue("remarks", one.fields["remarks"], one.stamp)) for one in changes]
    monkeypatch.setattr(FieldHistory, "objects", _History((ids[0], ""), (ids[1], ""), (ids[2], LATER.at), (FREE, "")))
    before = received_before(state_with(), changes)
    assert before.lost == {0: {"remarks"}, 1: {"remarks"}, 2: {"remarks"}}
    assert before.might_win == {0: {"remarks"}, 2: {"remarks"}}


def test_history_is_asked_only_for_stored_records_and_changes_with_a_moment(monkeypatch):
    made = Change(type="lot", id=FREE, fields={"remarks": "thin"}, stamp=LATER)
    row = FieldHistory.history_id(FREE, LostValue("remarks", "thin", LATER))
    monkeypatch.setattr(FieldHistory, "objects", _History((row, "")))
    before = received_before(state_with(), [made, NOW_KNOWN])
    assert (before.lost, before.might_win) == ({}, {})


def test_stored_history_is_that_of_the_record_itself(monkeypatch):
    lost = LostValue("text", "thin", STAMP)
    row = FieldHistory.history_id(NOTE, lost)
    monkeypatch.setattr(FieldHistory, "objects", _History((row, ""), (FREE, "")))
    assert stored_history([(NOTE, lost), (SESSION, lost)]) == {row}
    assert stored_history([]) == set()
