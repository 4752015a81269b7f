"""Blind sessions over sync: hidden from everyone else until the reveal, named by the cup alone."""

from uuid import uuid4

import pytest
from django.db import IntegrityError, connection, transaction
from django.utils import timezone

from tastings.models import Development, Flight, Infusion, Note, Session
from teams.models import Role
from tests.api.phone import change, sync
from tests.factories import person
from tests.flights import flight_of, lot_in, reveal, taste

pytestmark = pytest.mark.django_db
LATER = "2027-06-01T00:00:00Z"


@pytest.fixture
def flight(team, lexicon):
    return flight_of(team)


def pulled(who, *, cursor=0):
    answer = sync(who.client, cursor=cursor)
    return {row["id"]: row for row in answer["changes"]}, answer["cursor"]


def test_blind_session_reaches_its_taster_alone(flight, owner):
    taster, other = flight.tasters
    ids = taste(taster, flight.cups_of(taster)[0], liking=6)
    mine, _ = pulled(taster)

    assert {ids.session, ids.infusion, ids.note} <= mine.keys()
    assert (mine[ids.session]["fields"]["lot"], mine[ids.session]["deleted"]) == (None, False)
    for who in (other, flight.buyer, flight.pourer, owner):
        assert not {ids.session, ids.infusion, ids.note} & pulled(who)[0].keys()
        for kind in ("session", "infusion", "note"):
            assert who.client.get(f"/api/v1/{kind}s/{getattr(ids, kind)}/").status_code == 404
            assert who.client.get(f"/api/v1/{kind}s/{getattr(ids, kind)}/history").status_code == 404
            assert who.client.get(f"/api/v1/{kind}s/").json()["results"] == []


def test_reveal_brings_sessions_to_everyone_with_their_lot(flight, owner):
    taster, other = flight.tasters
    cup = flight.cups_of(taster)[0]
    ids = taste(taster, cup, liking=6)
    lot = lot_in(cup)
    cursors = {who: pulled(who)[1] for who in (taster, other, owner)}
    assert not Development.objects.filter(lot_id=lot).exists()
    reveal(flight, reason="the others are ill")

    for who, cursor in cursors.items():
        news, _ = pulled(who, cursor=cursor)
        assert {ids.session, ids.infusion, ids.note} <= news.keys()
        assert news[ids.session]["fields"]["lot"] == lot
    assert Development.objects.filter(lot_id=lot, due_revision__gt=0).exists()
    history = owner.client.get(f"/api/v1/sessions/{ids.session}/history").json()["current"]
    stamps = {item["field"]: (item["at"], item["by"], item["device"]) for item in history}
    assert stamps["lot"] == stamps["flight_cup"]


def test_reveal_gives_each_session_infusion_and_note_a_revision_of_its_own(flight):
    taster, other = flight.tasters
    shared = taste(taster, flight.cups_of(taster)[0], liking=6)
    private = taste(other, flight.cups_of(other)[0], liking=7, private=True)
    cursor = pulled(taster)[1]
    reveal(flight, reason="time is up")

    sessions = [Session.objects.get(id=one.session) for one in (shared, private)]
    children = [
        model.objects.get(id=getattr(one, kind)).revision
        for one in (shared, private)
        for kind, model in (("infusion", Infusion), ("note", Note))
    ]
    first = sessions[0].revision  # sessions before what hangs on them
    assert first > cursor
    assert sessions[1].revision == first + 1
    assert sorted(children) == [first + 2 + i for i in range(4)]
    assert pulled(taster)[1] == first + 5
    assert [one.shared_once for one in sessions] == [True, False]
    assert {one.updated_at for one in sessions} == {Flight.objects.get(id=flight.id).revealed_at}


def test_session_that_comes_after_the_reveal_gets_its_lot_at_once(flight, owner):
    taster, _ = flight.tasters
    cup = flight.cups_of(taster)[0]
    lot = lot_in(cup)
    reveal(flight, reason="time is up")
    ids = taste(taster, cup, liking=6)

    assert pulled(owner)[0][ids.session]["fields"]["lot"] == lot


def test_deleted_blind_session_stays_deleted_at_the_reveal(flight, owner):
    taster, _ = flight.tasters
    ids = taste(taster, flight.cups_of(taster)[0], liking=6)
    sync(taster.client, [change("session", ids.session, at="2026-03-04T13:00:00Z", deleted=True)])
    reveal(flight, reason="time is up")

    assert Session.objects.get(id=ids.session).removed
    assert pulled(owner)[0][ids.session]["deleted"]


def test_private_blind_session_stays_private_after_the_reveal(flight, owner):
    taster, _ = flight.tasters
    ids = taste(taster, flight.cups_of(taster)[0], liking=6, private=True)
    reveal(flight, reason="time is up")

    assert ids.session not in pulled(owner)[0]
    assert pulled(taster)[0][ids.session]["fields"]["lot"] is not None


def problems_of(who, *changes):
    return [[(p["field"], p["code"]) for p in v["problems"]] for v in sync(who.client, changes)["verdicts"]]


BREW = {"started_at": "2026-03-04T10:00:00Z", "leaf_g": 5, "vessel_ml": 110}


def test_session_needs_a_lot_or_a_cup(flight):
    taster, _ = flight.tasters
    assert problems_of(taster, change("session", **BREW)) == [[("lot", "required")]]
    assert problems_of(taster, change("session", lot=None, flight_cup=None, **BREW)) == [[("lot", "required")]]


def test_cup_of_another_taster_looks_absent(flight, stranger):
    taster, other = flight.tasters
    theirs = flight.cups_of(other)[0]["id"]
    for who in (taster, flight.pourer, flight.buyer, stranger):
        found = problems_of(
            who, change("session", flight_cup=theirs, **BREW), change("session", flight_cup=str(uuid4()), **BREW)
        )
        assert found == [[("flight_cup", "unknown_parent")]] * 2


def test_lot_of_a_blind_session_cannot_be_set(flight):
    taster, _ = flight.tasters
    cup = flight.cups_of(taster)[0]
    ids = taste(taster, cup)
    for lot in flight.lots:  # the right one is refused like the others, or the refusal would tell
        same = problems_of(
            taster,
            change("session", ids.session, at=LATER, lot=str(lot.id)),
            change("session", lot=str(lot.id), flight_cup=cup["id"], **BREW),
        )
        assert same == [[("lot", "not_allowed")]] * 2


def test_phone_that_sends_every_field_changes_nothing_about_the_lot(flight):
    taster, _ = flight.tasters
    cup = flight.cups_of(taster)[0]
    ids = taste(taster, cup)
    soon = timezone.now().isoformat()
    everything = {"lot": None, "flight_cup": cup["id"], "leaf_g": 6}
    assert problems_of(taster, change("session", ids.session, at=soon, **everything)) == [[]]
    reveal(flight, reason="time is up")

    stored = Session.objects.get(id=ids.session)
    assert (str(stored.lot_id), stored.leaf_g) == (lot_in(cup), 6)
    assert problems_of(taster, change("session", ids.session, lot=None)) == [[]]  # an old edit that comes late
    assert str(Session.objects.get(id=ids.session).lot_id) == lot_in(cup)


def test_cup_of_a_session_is_fixed(flight):
    taster, _ = flight.tasters
    first, second = flight.cups_of(taster)[:2]
    ids = taste(taster, first)
    assert (
        problems_of(
            taster,
            change("session", ids.session, at=LATER, flight_cup=second["id"]),
            change("session", ids.session, at=LATER, flight_cup=None, lot=str(flight.lots[0].id)),
        )
        == [[("flight_cup", "fixed")]] * 2
    )


def test_session_of_a_lot_does_not_become_blind(flight):
    taster, _ = flight.tasters
    made = str(uuid4())
    sync(taster.client, [change("session", made, lot=str(flight.lots[0].id), **BREW)])

    found = problems_of(taster, change("session", made, at=LATER, flight_cup=flight.cups_of(taster)[0]["id"]))
    assert ("flight_cup", "fixed") in found[0]


@transaction.atomic
def write(session, **columns):
    """Write past all that Python checks."""
    Session.objects.filter(id=session).update(**columns)
    connection.check_constraints()


def test_database_keeps_a_blind_session_without_a_lot(flight):
    taster, _ = flight.tasters
    cup = flight.cups_of(taster)[0]
    ids = taste(taster, cup)
    with pytest.raises(IntegrityError, match="not revealed"):
        write(ids.session, lot_id=lot_in(cup), shared_once=True)


def test_database_keeps_a_session_with_the_lot_of_its_cup(flight):
    taster, _ = flight.tasters
    cup = flight.cups_of(taster)[0]
    ids = taste(taster, cup)
    reveal(flight, reason="time is up")
    wrong = next(lot for lot in flight.lots if str(lot.id) != lot_in(cup))
    with pytest.raises(IntegrityError, match="session_lot_of_cup"):
        write(ids.session, lot=wrong)


def test_others_may_edit_a_revealed_session_and_name_its_cup(flight):
    taster, _ = flight.tasters
    cup = flight.cups_of(taster)[0]
    ids = taste(taster, cup)
    reveal(flight, reason="time is up")
    other = person(flight.buyer.team, Role.BUYER)

    edit = change("session", ids.session, at=LATER, flight_cup=cup["id"], remarks="cold room")
    assert problems_of(other, edit) == [[]]
    assert Session.objects.get(id=ids.session).remarks == "cold room"
