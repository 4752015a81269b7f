"""Two cells: two databases in one server, each with settings of its own. A team moves from one to the other."""

import os
import time
from contextlib import contextmanager

import psycopg
import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client, override_settings
from django.utils import timezone

from config.cells.copying import copy_team, snapshot
from config.cells.move import MoveError, TargetCell, _frozen, _own_database, delete_left_copy, move_team, note_moved
from config.cells.tables import LEFT_OUT, TABLES
from tastings.actions.lexicon import load_lexicon
from tastings.actions.photo_checks import delete_unused_photos
from tastings.models import Note
from tastings.models.photo_files import store
from tastings.models.photo_folder import FolderStore
from teams.models import Member, MovedTeam, Role
from teams.row_security import every_team, teams_with_photos_to_check
from tests.api.phone import change, post_sync, sync
from tests.api.test_row_security import rows
from tests.factories import TeamFactory, person, phone
from tests.flights import flight_of
from tests.row_security import as_worker
from tests.tastings.export_factory import fill_team
from tests.tastings.photos.photographs import announce, phone_photo, send, served, upload_and_check

pytestmark = pytest.mark.django_db(transaction=True)
ADDRESSES = {"a": "http://127.0.0.1:1", "b": "http://127.0.0.1:2"}
SILENT = {"log": lambda _line: None}


@contextmanager
def in_cell(name, database=None):
    """Be one of the two cells."""
    others = {other: address for other, address in ADDRESSES.items() if other != name}
    own = connection.settings_dict["NAME"]
    with override_settings(CELL=name, CELLS=others):
        try:
            if database is not None:
                connection.close()
                connection.settings_dict["NAME"] = database
            yield
        finally:
            if database is not None:
                connection.close()
                connection.settings_dict["NAME"] = own


@pytest.fixture(scope="module")
def second(django_db_setup, django_db_blocker):
    """The name of a second database, made as the first was."""
    name = "second_cell"
    with django_db_blocker.unblock():
        connection.close()
        first = connection.settings_dict["NAME"]
        at = psycopg.conninfo.make_conninfo(_own_database(), dbname="postgres")
        with psycopg.connect(at, autocommit=True) as session:
            session.execute(f'CREATE DATABASE {name} TEMPLATE "{first}"')
        yield name
        with psycopg.connect(at, autocommit=True) as session:
            session.execute(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def cells(second, settings, tmp_path):
    """Be cell a; gives what move_team takes to move a team to cell b, and does so to move it back."""
    settings.PHOTOS_DIR = tmp_path / "a"
    load_lexicon()
    with in_cell("b", second):
        load_lexicon()
    address = psycopg.conninfo.make_conninfo(_own_database(), dbname=second)
    yield TargetCell(cell="b", database=address, photos=FolderStore(folder=tmp_path / "b", leave_free_bytes=0))
    with psycopg.connect(address, autocommit=True) as session:
        names = ", ".join({table.name for table in TABLES})
        session.execute(f"TRUNCATE {names}, teams_movedteam, django_session CASCADE")


def taste(who, n=3):
    """Have someone make a lot, a session and notes."""
    lot = change("lot", name="Mist Ridge", kind="oolong")
    session = change("session", lot=lot["id"], started_at="2026-03-04T10:00:00Z", leaf_g=5, vessel_ml=110)
    noted = {"session": session["id"], "moment": "mouth", "descriptor": "body"}
    notes = [change("note", **noted, intensity=i % 10) for i in range(n)]
    return sync(who.client, [lot, session, *notes])


def files(folder):
    """Return the files below a folder, and make them two days old."""
    found = sorted(path for path in folder.rglob("*") if path.is_file())
    for path in found:
        os.utime(path, (time.time() - 172_800,) * 2)
    return found


def test_every_table_is_moved_or_says_why_not(db):
    here = {name for (name,) in rows("SELECT relname FROM pg_class WHERE relnamespace = 'public'::regnamespace"
                                     " AND relkind = 'r'")}  # fmt: skip
    assert {table.name for table in TABLES} | set(LEFT_OUT) == here


def test_the_columns_by_which_a_row_is_known_are_unique(db):
    unique = {
        (table, tuple(sorted(columns)))
        for table, columns in rows(
            """SELECT c.conrelid::regclass::text, array(SELECT attname::text FROM pg_attribute
                   WHERE attrelid = c.conrelid AND attnum = ANY (c.conkey))
               FROM pg_constraint AS c WHERE c.contype IN ('p', 'u')"""
        )
    }
    assert {table.name for table in TABLES if (table.name, tuple(sorted(table.key))) not in unique} == set()


def test_a_team_moves_with_all_it_has(cells, second, tmp_path):
    team = TeamFactory(name="Kettle & Lid")
    owner, *_ = fill_team(team)
    flight_of(team, buyer=owner)
    lot = taste(owner)["changes"][-5]
    whole, _ = upload_and_check(owner, phone_photo(), lot=lot["id"])
    file = phone_photo(liquor=(90, 40, 10))
    half, _ = announce(owner, file, lot=lot["id"])
    assert send(owner, half, file[:100], 0).status_code == 200
    complete = phone_photo(liquor=(60, 40, 10))
    assert send(owner, announce(owner, complete, lot=lot["id"])[0], complete, 0).status_code == 200
    before = sync(owner.client, limit=500)
    stays = person(TeamFactory(name="Other House"), Role.OWNER)

    with in_cell("a"):
        moved = move_team(team.id, cells, store(), **SILENT)
        assert moved.rows == moved.sent > 80

        refused = post_sync(owner.client)
        assert (refused.status_code, refused["X-Leafspan-Elsewhere"]) == (421, "b")
        assert refused.json()["type"] == "/problems/team-moved"
        assert sync(stays.client)["changes"]
        signing_in = phone().post("/api/v1/auth/tokens", {"username": owner.user.username, "password": "x" * 9,
                                                          "device": "new"})  # fmt: skip
        assert (signing_in.status_code, signing_in["X-Leafspan-Elsewhere"]) == (401, "any")
        with pytest.raises(CommandError, match="lives in the cell b"):
            call_command("export_team", team=str(team.id), to=str(tmp_path / "t.zip"))
        left = files(tmp_path / "a")
        with as_worker():
            assert (every_team(), teams_with_photos_to_check()) == ([stays.team.id], [])
            delete_unused_photos(now=timezone.now())
        assert files(tmp_path / "a") == left
    with in_cell("b", second), override_settings(PHOTOS_DIR=tmp_path / "b"):
        assert sync(owner.client, limit=500)["changes"] == before["changes"]
        assert sync(owner.client, cursor=before["cursor"])["changes"] == []
        assert served(owner, whole)[1]
        with as_worker():
            assert teams_with_photos_to_check() == [team.id]
        rest = send(owner, half, file[100:], 100)
        assert rest.status_code == 200, rest.content
        assert taste(owner)["cursor"] > before["cursor"]
        link = owner.client.post("/api/v1/invitations/", {"role": "taster", "shop": str(owner.member.shop_id)}).json()
        for password, status in (("short", 422), ("seven cups of tea", 201)):
            newcomer = {"token": link["token"], "username": "newcomer", "password": password}
            joined = phone().post("/api/v1/invitations/accept", newcomer)
            assert (joined.status_code, "X-Leafspan-Elsewhere" in joined) == (status, False)
        unknown = post_sync(stays.client)
        assert (unknown.status_code, unknown["X-Leafspan-Elsewhere"]) == (401, "any")

    with in_cell("a"):
        delete_left_copy(team.id, cells, store(), **SILENT)
        assert not Note.objects.filter(team=team).exists()
        assert not Member.objects.filter(team=team).exists()
        assert post_sync(owner.client)["X-Leafspan-Elsewhere"] == "any"
        assert sync(stays.client)["changes"]
    assert files(tmp_path / "a") == []


def test_while_a_team_is_copied_its_phones_are_asked_to_come_back_and_others_are_not(cells, owner, stranger):
    with in_cell("a"), psycopg.connect(_own_database(), autocommit=True) as here:
        with _frozen(here, owner.team.id):
            answer = post_sync(owner.client, changes=[change("lot", name="Mist Ridge", kind="oolong")])
            assert (answer.status_code, answer["Retry-After"]) == (503, "1")
            assert answer.json()["type"] == "/problems/team-moving"
            assert post_sync(stranger.client).status_code == 200
        assert post_sync(owner.client).status_code == 200


def test_browsers_of_the_team_stay_signed_in_and_those_of_others_stay_here(cells, second, owner, stranger):
    browser, other = Client(), Client()
    signed_out = Client(raise_request_exception=False)
    for one, login in ((browser, owner.user), (other, stranger.user), (signed_out, owner.user)):
        one.force_login(login)
    with in_cell("a"):
        with psycopg.connect(_own_database(), autocommit=True) as here, _frozen(here, owner.team.id):
            assert signed_out.post("/sign-out/").status_code == 503  # or the other cell would go on with the session
        assert signed_out.get("/account/").status_code == 200
        move_team(owner.team.id, cells, store(), **SILENT)
        assert signed_out.get("/account/")["X-Leafspan-Elsewhere"] == "any"
        assert other.get("/account/").status_code == 200
    with in_cell("b", second):
        assert browser.get("/account/").status_code == 200
        assert other.get("/account/")["X-Leafspan-Elsewhere"] == "any"


def test_a_move_that_was_cut_off_anywhere_goes_on_from_there(cells, second, owner):
    taste(owner)
    with in_cell("a"), psycopg.connect(_own_database(), autocommit=True) as here:
        with psycopg.connect(cells.database, autocommit=True) as there:
            # a copy that was begun: the other cell does not act for it, this one does
            there.execute("INSERT INTO teams_movedteam (team_id, cell, since) VALUES (%s, 'a', now())", [owner.team.id])
            with snapshot(here):
                done = copy_team(here, there, owner.team.id)
            Note.objects.filter(team=owner.team, intensity=0).delete()  # as pruning does, without a new revision
            before = taste(owner, n=40)
            with snapshot(here):
                again = copy_team(here, there, owner.team.id, after=done)
            assert again.deleted == 1
            assert 42 <= again.sent < again.rows
        with in_cell("b", second):
            assert post_sync(owner.client)["X-Leafspan-Elsewhere"] == "a"
        # the commit that decides was made, the other cell not opened yet
        move_team(owner.team.id, cells, store(), **SILENT)
        with psycopg.connect(cells.database, autocommit=True) as there:
            there.execute("INSERT INTO teams_movedteam (team_id, cell, since) VALUES (%s, 'a', now())", [owner.team.id])
        assert post_sync(owner.client)["X-Leafspan-Elsewhere"] == "b"
        move_team(owner.team.id, cells, store(), **SILENT)
        # this cell is as a backup from before the move had it
        MovedTeam.objects.all().delete()
        with pytest.raises(MoveError, match="lives in both cells"):
            move_team(owner.team.id, cells, store(), **SILENT)
        note_moved(owner.team.id, cells)
        assert post_sync(owner.client)["X-Leafspan-Elsewhere"] == "b"
    with in_cell("b", second):
        assert sync(owner.client, cursor=before["cursor"])["changes"] == []
        assert Note.objects.filter(team=owner.team).count() == 42


def test_what_would_be_torn_apart_or_mixed_up_is_not_moved(cells, second, owner, stranger):
    with in_cell("a"):
        with in_cell("b", second):
            person(TeamFactory(name="Third House"), Role.OWNER, username=owner.user.username.upper())
        with pytest.raises(MoveError, match="somebody else's in the other cell"):
            move_team(owner.team.id, cells, store(), **SILENT)
        Member.objects.create(team=owner.team, user=stranger.user, role=Role.TASTER)
        with pytest.raises(MoveError, match="is in another team here as well"):
            move_team(stranger.team.id, cells, store(), **SILENT)
        assert post_sync(owner.client).status_code == post_sync(stranger.client).status_code == 200
