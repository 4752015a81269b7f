"""The database limits a taster to their own rows, should the code's rules forget it."""

from uuid import uuid4

import pytest
from django.db import IntegrityError, ProgrammingError, connection, transaction

from tastings.actions.push import applying
from tastings.actions.triangles import choose_tasters, record_triangle_test
from teams.models import Member
from teams.row_security import acting_for, limit_changes_to
from tests.api.phone import change, sync
from tests.api.records import Place
from tests.factories import NOON, LotFactory, person
from tests.flights import flight_of
from tests.row_security import as_application
from tests.tastings.photos.photographs import announce

pytestmark = pytest.mark.django_db
UPDATES = {
    "lots_lot": "name = 'Mine'",
    "tastings_descriptor": "label = 'mine'",
    "tastings_session": "leaf_g = 9",
    "tastings_infusion": "steep_s = 99",
    "tastings_note": "intensity = 1",
    "tastings_photo": "of = 'other'",
}


@pytest.fixture
def colleague(team):
    """Another taster."""
    return person(team, "taster")


@pytest.fixture
def place(taster):
    made = Place(taster)
    announce(taster, b"xx", session=str(made.session.id))
    return made


def written(who, statement):
    """Run a statement as the application does in a request of this member; return the number of rows."""
    with as_application(), acting_for(who.team.id):
        limit_changes_to(Member.objects.get(id=who.member.id).limited_to)
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement)
            return cursor.rowcount


@pytest.mark.parametrize("table", UPDATES)
def test_a_taster_reaches_only_their_own_rows(request, place, table):
    colleague, viewer, taster, buyer = map(request.getfixturevalue, ("colleague", "viewer", "taster", "buyer"))
    update, delete = f"UPDATE {table} SET {UPDATES[table]}", f"DELETE FROM {table}"  # noqa: S608 - our own table
    assert [written(who, update) for who in (colleague, viewer, taster, buyer)] == [0, 0, 1, 1]
    assert [written(who, delete) for who in (colleague, viewer)] == [0, 0]


@pytest.mark.parametrize("table", ["tastings_flightcup", "tastings_flightlot", "tastings_flightmember"])
def test_only_owners_and_buyers_write_flights(team, taster, buyer, table):
    flight_of(team, buyer=buyer)
    update = f"UPDATE {table} SET out_at = now()"  # noqa: S608 - our own table
    assert written(taster, update) == 0
    assert written(buyer, update) > 0


def test_a_taster_chooses_who_tastes_in_their_own_triangle_tests_only(taster, colleague, viewer, buyer):
    test, lots = uuid4(), [LotFactory(team=taster.team) for _ in range(2)]
    body = {"lot": str(lots[0].id), "against": str(lots[1].id), "held_on": "2026-03-04"}
    record_triangle_test(taster.member, test=test, sent=body, now=NOON)
    choose_tasters(taster.member, test=test, sent={"tasters": [str(colleague.user.id)]})
    more = "UPDATE tastings_triangletaster SET answers = 9"
    assert [written(who, more) for who in (colleague, viewer, taster, buyer)] == [0, 0, 1, 1]
    another = "INSERT INTO tastings_triangletaster (team_id, test_id, user_id, answers)"
    another += f" SELECT team_id, test_id, '{buyer.user.id}', 1 FROM tastings_triangletaster"  # noqa: S608 - our own table
    with pytest.raises(ProgrammingError, match="row-level security"):
        written(colleague, another)
    assert written(colleague, "DELETE FROM tastings_triangletaster") == 0


def test_a_taster_inserts_nothing_under_anothers_name(place, colleague):
    copy = "INSERT INTO tastings_session SELECT (jsonb_populate_record(one, jsonb_build_object('id', gen_random_uuid(),"
    copy += " 'revision', 900))).* FROM tastings_session AS one"
    with pytest.raises(ProgrammingError, match="row-level security"):
        written(colleague, copy)


def test_bought_lots_are_out_of_a_tasters_reach(place, taster, buyer):
    written(buyer, "UPDATE lots_lot SET status = 'bought'")
    assert written(taster, "UPDATE lots_lot SET name = 'Mine'") == 0


@pytest.mark.parametrize("table", ["lots_lot", "tastings_descriptor", "tastings_infusion", "tastings_note"])
def test_nobody_changes_an_author(place, colleague, table):
    with pytest.raises(IntegrityError, match="never changes"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"UPDATE {table} SET author_id = %s", [colleague.user.id])  # noqa: S608 - our own table


def test_nobody_changes_a_taster(place, colleague):
    with pytest.raises(IntegrityError, match="never changes"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE tastings_session SET taster_id = %s", [colleague.user.id])


def test_without_the_rules_of_the_push_the_database_still_refuses(place, colleague, taster, monkeypatch):
    """And the other changes of the same push are stored."""
    monkeypatch.setattr(applying, "not_yours", lambda *_: [])
    verdicts = sync(colleague.client, [
        change("note", place.note.id, at="2026-03-04T13:00:00Z", intensity=9),
        change("lot", name="Mist Ridge", kind="oolong", status="sample"),
    ])["verdicts"]  # fmt: skip
    assert [one["verdict"] for one in verdicts] == ["refused", "applied"]
    place.note.refresh_from_db()
    assert place.note.intensity is None
