"""Whom a connection acts for, the functions that find a caller's team, and what they note beside other cells."""

from datetime import timedelta
from threading import Thread
from uuid import UUID, uuid4

import psycopg
import pytest
from django.db import OperationalError, connection, connections, transaction

from config.cells.move import _frozen, _own_database
from tastings.models import Development, Photo, Share
from teams.models import AuditEntry, MovedTeam, ResetLink, SignInCode
from teams.postgresql.base import DatabaseWrapper, _settings_sql
from teams.postgresql.together import run_together
from teams.row_security import (
    act_for_login,
    acting_for,
    acting_for_those_here,
    cell_of_team,
    delete_teamless_failures,
    forget_unknown,
    has_team,
    ids_in_use,
    is_id_in_use,
    limit_changes_to,
    login_named,
    login_of_reset_link,
    note_unknown,
    renew_photos,
    run_for_lot,
    run_for_token,
    skip_team_elsewhere,
    team_of,
    team_of_former_token,
    team_of_invitation,
    team_of_sign_in_code,
    teams_with_outdated_figures,
    work_as_owner,
    work_as_worker,
    worker_role,
)
from tests.factories import NOON, LotFactory, SessionFactory
from tests.row_security import as_application, as_worker


def acted_for(database):
    return database.role, database.teams, database.limited_to, database.login, database.session


def test_new_connection_acts_in_its_role_for_nobody_and_like_another_when_asked():
    given = {**connection.settings_dict, "ROLE": "leafspan_app"}
    fresh = DatabaseWrapper(given, alias="replica")
    assert (fresh.alias, acted_for(fresh)) == ("replica", ("leafspan_app", "", "", "", ""))
    del given["ROLE"]
    other = DatabaseWrapper(given)
    assert acted_for(other) == ("", "", "", "", "")

    other.role, other.teams, other.limited_to, other.login, other.session = "a", "b", "c", "d", "e"
    fresh.act_as(other)
    assert acted_for(fresh) == ("a", "b", "c", "d", "e")


def test_process_works_in_its_role_on_this_connection_and_on_later_ones():
    of_later = []

    def look():
        of_later.append(connections["default"].role)

    try:
        for work, name in ((work_as_worker, worker_role()), (work_as_owner, "")):
            work()
            thread = Thread(target=look)
            thread.start()
            thread.join()
            assert (connection.role, of_later.pop()) == (name, name)
    finally:
        work_as_owner()


def test_writing_is_limited_to_a_member_and_a_login_and_to_nobody_again():
    member, login = uuid4(), uuid4()
    limit_changes_to(member)
    act_for_login(login)
    assert (connection.limited_to, connection.login) == (str(member), str(login))
    limit_changes_to(None)
    act_for_login(None)
    assert (connection.limited_to, connection.login) == ("", "")


def team_of_token(digest):
    """Return the team that a statement is run for."""
    [(found,)] = run_for_token(digest, ("SELECT current_setting('leafspan.teams')", []))
    return UUID(found) if found else None


def test_team_of_a_token_is_acted_for_by_its_statement_alone(owner):
    other = uuid4()
    with acting_for(other):
        assert team_of_token(owner.device.digest) == owner.team.id
        [[(after,)]] = run_together([("SELECT current_setting('leafspan.teams')", [])])
    assert after == str(other)


def test_statement_about_a_lot_is_run_for_its_team_alone(owner, stranger):
    lots = [LotFactory(team=who.team) for who in (owner, stranger)]
    teams, seen = ("SELECT current_setting('leafspan.teams')", []), ("SELECT id FROM lots_lot", [])
    with as_application(), acting_for(stranger.team.id):
        for one in lots:
            assert run_for_lot(one.id, teams) == [(str(one.team_id),)]
            assert run_for_lot(one.id, seen) == [(one.id,)]
        assert (run_for_lot(uuid4(), teams), run_for_lot(uuid4(), seen)) == ([("",)], [])
        assert run_together([teams, seen]) == [[(str(stranger.team.id),)], [(lots[1].id,)]]


@pytest.fixture
def known(owner):
    """Return for each function that finds a caller what it takes and what it should find."""
    SignInCode.objects.create(member=owner.member, digest="1" * 64, expires_at=NOON)
    ResetLink.objects.create(user=owner.user, digest="2" * 64, created_at=NOON, expires_at=NOON)
    link = owner.client.post("/api/v1/invitations/", {"role": "taster", "shop": str(owner.member.shop_id)})
    assert link.status_code == 201
    with connection.cursor() as cursor:
        cursor.execute("SELECT digest FROM teams_invitation")
        [(invitation,)] = cursor.fetchall()
    return {
        team_of_token: (owner.device.digest, owner.team.id),
        team_of_invitation: (invitation, owner.team.id),
        team_of_sign_in_code: ("1" * 64, owner.team.id),
        login_named: (owner.user.username, owner.user.id),
        login_of_reset_link: ("2" * 64, owner.user.id),
    }


@pytest.mark.parametrize("cells", [{}, {"b": "http://127.0.0.1:2"}])
def test_caller_is_found_and_an_unknown_one_is_noted_beside_other_cells(known, owner, settings, cells):
    settings.CELLS = cells
    forget_unknown()
    for find, (asked, expected) in known.items():
        assert find("nobody") is None
        assert forget_unknown() is bool(cells), find
        assert forget_unknown() is False
        assert find(asked) == expected
        assert find("nobody") is None
        assert forget_unknown() is False, find  # something was known
    lot = LotFactory(team=owner.team)
    assert team_of("lot", lot.id) == owner.team.id
    assert team_of("lot", uuid4()) is team_of_former_token("nobody") is None
    assert team_of_former_token(owner.device.digest) == owner.team.id
    forget_unknown()
    assert team_of("lot", uuid4()) is None
    assert forget_unknown() is False  # only a link that was shared names a team by its id
    share = Share.objects.create(
        team=owner.team, lot=lot, shows="report", lang="en", by=owner.user, created_at=NOON, expires_at=NOON
    )
    assert team_of("share", uuid4()) is None
    assert forget_unknown() is bool(cells)
    assert team_of("share", share.id) == owner.team.id


def test_what_was_noted_is_the_threads_own_and_at_first_nothing(settings):
    settings.CELLS = {"b": "http://127.0.0.1:2"}
    found = []

    def look():
        found.append(forget_unknown())

    def note_and_look():
        note_unknown()
        look()

    for target in (look, note_and_look):
        thread = Thread(target=target)
        thread.start()
        thread.join()
    assert found == [False, True]


def test_login_whose_team_has_moved_is_unknown_here(owner, settings):
    MovedTeam.objects.create(team=owner.team.id, cell="b")
    assert login_named(owner.user.username) == owner.user.id
    settings.CELLS = {"b": "http://127.0.0.1:2"}
    forget_unknown()
    assert login_named(owner.user.username) is None
    assert forget_unknown() is True


@pytest.fixture(params=["", "b"])
def cell_of_owner(request, owner, settings):
    """Move the owner's team to cell b, or begin to; give what names its cell."""
    settings.CELLS = {"b": "http://127.0.0.1:2"}
    if request.param:
        MovedTeam.objects.create(team=owner.team.id, cell=request.param)
        yield request.param
    else:
        with psycopg.connect(_own_database(), autocommit=True) as mover, _frozen(mover, owner.team.id):
            yield ""


def test_team_that_is_moved_is_refused_with_its_cell_when_acted_for_alone(owner, stranger, cell_of_owner):
    teams = "SELECT 'acts for', current_setting('leafspan.teams')"
    with as_application(), connection.cursor() as cursor:
        for acted in ([owner.team.id, stranger.team.id], [stranger.team.id]):
            with acting_for(*acted):
                cursor.execute(teams)
                assert cursor.fetchone() == ("acts for", str(stranger.team.id))
                assert run_together([(teams, [])]) == [[("acts for", str(stranger.team.id))]]
        for run in (lambda: cursor.execute(teams), lambda: run_together([(teams, [])])):
            with acting_for(owner.team.id), pytest.raises(OperationalError) as refused, transaction.atomic():
                run()
            assert cell_of_team(refused.value) == cell_of_owner


def test_statement_for_a_token_or_lot_is_refused_where_its_team_is_moved(owner, cell_of_owner):
    lot, team = LotFactory(team=owner.team).id, ("SELECT current_setting('leafspan.teams')", [])
    assert run_for_lot(lot, team) == run_for_token(owner.device.digest, team) == [(str(owner.team.id),)]  # as the owner
    with as_application():
        for run in (lambda: run_for_lot(lot, team), lambda: run_for_token(owner.device.digest, team)):
            with pytest.raises(OperationalError) as refused, transaction.atomic():
                run()
            assert cell_of_team(refused.value) == cell_of_owner


def test_no_statement_is_sent_for_no_ids(db, django_assert_num_queries):
    with django_assert_num_queries(0):
        assert ids_in_use([]) == {}


def test_work_on_every_team_passes_over_one_elsewhere_and_no_other_error(owner, cell_of_owner):
    done = []
    with as_application(), acting_for(owner.team.id), skip_team_elsewhere(), transaction.atomic():
        run_together([("SELECT 1", [])])
        done.append(owner.team)
    with as_application(), acting_for_those_here([owner.team.id]):
        assert run_together([("SELECT current_setting('leafspan.teams')", [])]) == [[(str(UUID(int=0)),)]]
    assert done == []
    with pytest.raises(OperationalError, match="lost"), skip_team_elsewhere():
        raise OperationalError("the connection is lost")


def test_old_failures_of_nobody_are_deleted(owner):
    for team, days in ((None, 0), (None, 2), (owner.team, 0)):
        AuditEntry.objects.create(team=team, what="failed_sign_in", at=NOON + timedelta(days=days))
    with as_worker():
        assert delete_teamless_failures(before=NOON + timedelta(days=1)) == 1
    assert set(AuditEntry.objects.values_list("team", "at")) == {
        (None, NOON + timedelta(days=2)),
        (owner.team.id, NOON),
    }


@pytest.mark.parametrize("cells", [{}, {"b": "http://127.0.0.1:2"}])
@pytest.mark.parametrize("role", ["", "leafspan_app"])
@pytest.mark.parametrize("teams", ["", "one,two"])
def test_a_role_with_teams_is_asked_beside_other_cells_where_they_live(settings, cells, role, teams):
    settings.CELLS = cells
    sql = _settings_sql(role=role, teams=teams, limited_to="m", login="l", session="s")
    at_once, *later = sql.split("; ")
    asked = bool(cells and role and teams)
    assert at_once == (
        f"SELECT set_config('role', '{role or 'none'}', true),"
        f" set_config('leafspan.teams', '{'' if asked else teams}', true),"
        " set_config('leafspan.limited_to', 'm', true), set_config('leafspan.login', 'l', true),"
        " set_config('leafspan.session', 's', true)"
    )
    assert later == ["SELECT set_config('leafspan.teams', leafspan_at_home('one,two'), true)"] * asked


def test_other_errors_name_no_cell():
    for error in (None, KeyError(), OperationalError("the connection is lost")):
        assert cell_of_team(error) is None


def test_rows_are_found_by_kind_and_id(owner):
    lot = LotFactory(team=owner.team)
    assert has_team() is True
    assert is_id_in_use("lot", lot.id) is True
    assert is_id_in_use("note", lot.id) is is_id_in_use("lot", uuid4()) is False


def test_photos_of_a_lot_and_a_session_get_new_revisions_and_others_keep_theirs(owner):
    session = SessionFactory(lot__team=owner.team)
    lot, session, other = session.lot_id, session.id, LotFactory(team=owner.team).id
    for about in ({"lot_id": lot}, {"session_id": session}, {"lot_id": other}):
        Photo.objects.create(id=uuid4(), team=owner.team, of="liquor", sha256="0" * 64, bytes=1, by=owner.user,
                             created_at=NOON, touched_at=NOON, **about)  # fmt: skip
    before = dict(Photo.objects.values_list("id", "revision"))
    renew_photos(owner.team.id, [lot, session])
    changed = [one for one in Photo.objects.all() if one.revision > before[one.id]]
    assert {(one.lot_id, one.session_id) for one in changed} == {(lot, None), (None, session)}


def test_figures_by_another_method_are_outdated(owner):
    lot = LotFactory(team=owner.team)
    figures = {"due_revision": 1, "computed_revision": 1, "method": "first"}
    Development.objects.update_or_create(lot=lot, defaults={"team": owner.team, **figures})
    assert teams_with_outdated_figures(method="first") == []
    assert teams_with_outdated_figures(method="second") == [owner.team.id]
