"""The answer to a push is that of a pull that reads everything, though what was just stored is not read back."""

from uuid import uuid4

import pytest
from django.utils import timezone

from lots.schemas import LOT
from tastings.actions.push import push
from tastings.queries.pull import pull
from tastings.queries.scope import Scope, ScopeToken
from tastings.schemas import DESCRIPTOR, INFUSION, NOTE, POT, SESSION
from tests.api.phone import NEW_RECORD, change, sync, verdict_names
from tests.factories import InfusionFactory, LotFactory, SessionFactory
from tests.sync.test_scope import past  # noqa: F401 - a fixture

pytestmark = pytest.mark.django_db


def some_value(field):
    """Return a value that a field may have; a long fraction of numbers, a moment with microseconds."""
    match field.kind:
        case "number" if field.decimals is None:
            return field.high - 1 / 3
        case "number":
            return round(field.high - 0.1, field.decimals)
        case "integer":
            return int(field.high)
        case "choice":
            return field.choices[-1]
        case "truth":
            return True
        case "texts":
            return ["ﬁne", "wet  slate"]
        case "date":
            return "0999-03-04"
        case "moment":
            return "2026-03-04T10:11:12.1203+05:30"
        case _:
            return "leaf é\n"


def whole(schema, **given):
    """Return a value for every field that is no reference, beside those given."""
    plain = [f for f in schema.fields if f.to is None and f.kind != "key" and f.pattern is None]
    return NEW_RECORD[schema.type] | {f.name: some_value(f) for f in plain if not f.fixed} | given


def both_ways(who, sent, **asked):
    """Push; return what a pull with the stored rows at hand says, and what one without."""
    cursor = pull(who.member, cursor=1, limit=1000).cursor
    pushed = push(who.member, device=uuid4(), sent=sent, now=timezone.now())
    assert {verdict.verdict for verdict in pushed.verdicts} <= {"applied", "merged"}
    given, read = (
        pull(who.member, cursor=cursor, limit=1000, written=written, **asked) for written in (pushed.written, None)
    )
    return given, read, pushed.written


def test_every_type_and_field_reads_as_it_was_written(owner, lexicon):
    shop = {"shop": str(owner.member.shop_id)}
    pairs = {
        "elevation_low_m": 200.25,
        "elevation_high_m": 300,
        "price_per_kg": 90.10,
        "currency": "USD",
        "country": "TW",
    }
    lot, pot, word = (
        change("lot", **whole(LOT, **pairs)),
        change("pot", **whole(POT, **shop)),
        change("descriptor", **whole(DESCRIPTOR, key="wet_slate")),
    )
    session = change(
        "session",
        **whole(SESSION, **shop, lot=lot["id"], pot=pot["id"], more_low=1, started_at="2026-03-04T10:00:00.5Z"),
    )
    pour = change("infusion", **whole(INFUSION, session=session["id"]))
    of_pour = {"session": session["id"], "infusion": pour["id"]}
    notes = [change("note", **whole(NOTE, **of_pour, descriptor=key)) for key in ("strength", "wet_slate", None)]
    made = [lot, pot, word, session, pour, *notes]
    given, read, written = both_ways(owner, made)
    assert len(written.rows) == len(made)
    assert given == read

    emptied = [
        change("lot", lot["id"], at="2026-03-04T13:00:00Z", **{f.name: None for f in LOT.fields if not f.required}),
        change("session", session["id"], at="2026-03-04T13:00:00Z", warmed=None, remarks="", leaf_g=4.0),
        change("note", notes[0]["id"], at="2026-03-04T13:00:00Z", text=None, intensity=None),
        change("note", notes[1]["id"], at="2026-03-04T13:00:00Z", deleted=True),
        change("infusion", pour["id"], at="2020-01-01T00:00:00Z", steep_s=1),  # loses
        change("infusion", pour["id"], at="2026-03-04T13:00:00Z", steep_s=2),
    ]
    given, read, written = both_ways(owner, emptied)
    assert given == read
    assert len(written.rows) == 5
    back = [
        change("note", notes[1]["id"], at="2026-03-04T14:00:00Z", text="again"),
        change("pot", pot["id"], deleted=True),
    ]
    given, read, written = both_ways(owner, back)
    assert len(written.rows) == 2
    assert given == read


def test_rows_that_a_push_renews_come_too(taster):
    session = SessionFactory(lot=LotFactory(team=taster.team), by=taster.user)
    pour = InfusionFactory(session=session)
    given, read, _ = both_ways(taster, [change("session", session.id, started_at="2026-03-05T10:00:00Z")])
    assert {one["id"] for one in given.changes} == {str(session.id), str(pour.id)}
    assert given == read


def test_what_lies_outside_the_scope_is_taken_back(taster, past):  # noqa: F811
    _, (old, (pour, note, _)) = past
    scope = Scope.of(days=30, lots=[], now=timezone.now())
    sent = [
        change("infusion", pour.id, remarks="thin"),
        change("note", note.id, text="peach"),
        change("session", old.id, remarks="rain"),
        change("infusion", session=str(old.id), number=7, steep_s=9),
    ]
    given, read, written = both_ways(taster, sent, scope=scope, token=ScopeToken(scope=scope))
    assert len(written.rows) == 4
    assert [one.get("out_of_scope", False) for one in given.changes] == [False, True, True, True]
    assert given == read
    of_lot = Scope.of(days=30, lots=[old.lot_id], now=timezone.now())
    sent = [change("infusion", pour.id, at="2026-03-04T13:00:00Z", remarks="thick")]
    given, read, _ = both_ways(taster, sent, scope=of_lot, token=ScopeToken(scope=of_lot))
    assert [one["fields"]["remarks"] for one in given.changes] == ["thick"]
    assert given == read


@pytest.mark.parametrize("limit", range(1, 8))
def test_pages_of_any_size_are_those_of_a_pull_that_reads(buyer, limit):
    cursor = sync(buyer.client)["cursor"]
    others = [LotFactory(team=buyer.team) for _ in range(3)]
    sent = [change("lot", **NEW_RECORD["lot"]) for _ in range(3)]
    pushed = push(buyer.member, device=uuid4(), sent=sent, now=timezone.now())
    given, read = (
        pull(buyer.member, cursor=cursor, limit=limit, written=written) for written in (pushed.written, None)
    )
    order = [*(str(one.id) for one in others), *(one["id"] for one in sent)]
    assert [one["id"] for one in given.changes] == order[:limit]
    assert given.more == (limit < len(order))
    assert given == read


def test_a_phone_in_its_first_pull_gets_nothing_from_outside_its_scope(taster, past):  # noqa: F811
    _, (_, outside) = past
    scope = Scope.of(days=30, lots=[], now=timezone.now())
    first = pull(taster.member, cursor=0, limit=1, scope=scope)
    sent = [change("session", **NEW_RECORD["session"], lot=str(past[0][0].lot_id))]
    pushed = push(taster.member, device=uuid4(), sent=sent, now=timezone.now())
    given, read = (
        pull(taster.member, cursor=first.cursor, limit=1000, scope=scope, token=first.token, written=written)
        for written in (pushed.written, None)
    )
    came = {one["id"] for one in given.changes}
    assert sent[0]["id"] in came
    assert not came & {str(one.id) for one in outside}
    assert given == read


def test_push_with_the_first_pull_brings_nothing_from_outside_its_scope(taster, past):  # noqa: F811
    (_, here), (_, outside) = past
    scope = Scope.of(days=30, lots=[], now=timezone.now())
    sent = [change("note", children[1].id, text="peach") for children in (here, outside)]
    pushed = push(taster.member, device=uuid4(), sent=sent, now=timezone.now())
    given, read = (
        pull(taster.member, cursor=0, limit=1000, scope=scope, written=written) for written in (pushed.written, None)
    )
    came = {one["id"] for one in given.changes}
    assert {str(one.id) for one in here} <= came
    assert not came & {str(one.id) for one in outside}
    assert given == read


def test_what_another_writes_between_push_and_pull_comes_with_the_next_pull(buyer, owner, monkeypatch):
    mine, hers = LotFactory(team=buyer.team), LotFactory(team=buyer.team)
    cursor = sync(buyer.client)["cursor"]

    def write_and_pull(*args, **kwargs):
        sent = [change("lot", one.id, at="2026-03-04T15:00:00Z", remarks="round") for one in (mine, hers)]
        push(owner.member, device=uuid4(), sent=sent, now=timezone.now())
        return pull(*args, **kwargs)

    monkeypatch.setattr("api.sync.sync.pull", write_and_pull)
    new = change("lot", **NEW_RECORD["lot"])
    answer = sync(buyer.client, [change("lot", mine.id, remarks="thin"), new], cursor=cursor, echo=False)
    assert verdict_names(answer) == ["applied", "applied"]
    assert ["record" in verdict for verdict in answer["verdicts"]] == [True, True]
    assert answer["changes"] == []
    monkeypatch.undo()
    following = sync(buyer.client, cursor=answer["cursor"])
    remarks = {one["id"]: one["fields"]["remarks"] for one in following["changes"]}
    assert remarks == {str(mine.id): "round", str(hers.id): "round"}
    assert len(following["changes"]) == 2


def test_a_repeat_reads_what_is_stored(taster):
    cursor = sync(taster.client)["cursor"]
    sent = [change("lot", **NEW_RECORD["lot"])]
    first = sync(taster.client, sent, cursor=cursor)
    again = sync(taster.client, sent, cursor=cursor)
    assert (verdict_names(first), verdict_names(again)) == (["applied"], ["unchanged"])
    assert (first["changes"], first["cursor"]) == (again["changes"], again["cursor"])
