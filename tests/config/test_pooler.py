"""Through a real PgBouncer that gives each transaction another connection, no team sees another's rows.

PgBouncer is Debian's package ``pgbouncer``. Where it is missing these tests are skipped; with
``LEAFSPAN_TEST_POOLER=1`` they fail instead.
"""

import os
import shutil
import subprocess
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager

import psycopg
import pytest
from django.db import connection, connections, transaction

from config.dev.process import free_port
from lots.models import Lot
from teams.postgresql.together import run_together
from teams.row_security import acting_for, role
from tests.api.phone import change, sync
from tests.factories import LotFactory

pytestmark = pytest.mark.django_db(transaction=True)

SETTINGS = """
[databases]
owner = host={HOST} port={PORT} dbname={NAME} user={USER} password={PASSWORD}
web = host={HOST} port={PORT} dbname={NAME} user={WEB} password={WEB_PASSWORD}

[pgbouncer]
listen_addr = 127.0.0.1
listen_port = {port}
unix_socket_dir =
auth_type = any
pool_mode = transaction
default_pool_size = 2
"""


@pytest.fixture
def pooler(django_db_modify_db_settings, tmp_path):
    """Run PgBouncer before the test's database with two connections for each login; gives its port."""
    must = os.environ.get("LEAFSPAN_TEST_POOLER") == "1"
    program = shutil.which("pgbouncer", path=f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin")
    servers = django_db_modify_db_settings
    missing = "PgBouncer is not installed" if program is None else "DATABASE_URL names a server without the logins"
    if program is None or servers is None:
        (pytest.fail if must else pytest.skip)(f"{missing}: nothing is tested through a transaction pooler")
    web = psycopg.conninfo.conninfo_to_dict(servers.web_database_url)
    port, file = free_port(), tmp_path / "pgbouncer.ini"
    values = {**connection.settings_dict, "WEB": web["user"], "WEB_PASSWORD": web["password"], "port": port}
    file.write_text(SETTINGS.format(**values))
    with (tmp_path / "log").open("wb") as log:
        command = [program, *(["-u", "nobody"] if os.geteuid() == 0 else []), str(file)]
        process = subprocess.Popen(command, stdout=log, stderr=log)
    try:
        until = time.monotonic() + 60
        while not is_reached(port):
            assert process.poll() is None, (tmp_path / "log").read_text()
            assert time.monotonic() < until, (tmp_path / "log").read_text()
            time.sleep(0.05)
        yield port
    finally:
        process.terminate()
        process.wait(timeout=60)


def is_reached(port):
    try:
        psycopg.connect(f"postgresql://any@127.0.0.1:{port}/web").close()
    except psycopg.OperationalError:
        return False
    return True


@contextmanager
def through(port, *, login):
    """Have all connections of Django go through the pooler, signed in as one of its two logins."""
    connections.close_all()
    settings = connection.settings_dict
    before = dict(settings)
    settings |= {"HOST": "127.0.0.1", "PORT": str(port), "NAME": login, "USER": "any", "PASSWORD": "",
                 "DISABLE_SERVER_SIDE_CURSORS": True, "OPTIONS": {"prepare_threshold": None},
                 "ROLE": role()}  # fmt: skip
    connection.role = role()
    try:
        yield
    finally:
        connections.close_all()
        settings.update(before)
        connection.role = ""


@pytest.fixture
def lots(taster, stranger):
    """Lots of two teams; gives the two ids."""
    for person in (taster, stranger):
        for _ in range(3):
            LotFactory(team=person.team)
    return taster.team.id, stranger.team.id


@pytest.mark.parametrize("login", ["owner", "web"])
def test_connections_that_are_passed_on_carry_neither_role_nor_team_along(pooler, lots, login):
    def seen():
        return list(Lot.objects.values_list("team_id", flat=True))

    def works(number):
        """Read as nobody, as one team and, where the login is the owner's, as the owner; return what was wrong."""
        wrong = []
        ours = lots[number % 2]
        for _ in range(20):
            connection.role = role()
            wrong += [("nobody", found) for found in seen()]
            with acting_for(ours):
                wrong += [(ours, found) for found in {*seen()} ^ {ours}]
                [teams, _] = run_together([("SELECT team_id FROM lots_lot WHERE name <> %s", [""]), ("SELECT 1", [])])
                wrong += [(ours, found) for found in {team for (team,) in teams} ^ {ours}]
                with transaction.atomic():
                    wrong += [(ours, found) for found in {*seen()} ^ {ours}]
                wrong += [(ours, lot.team_id) for lot in Lot.objects.iterator() if lot.team_id != ours]
            if login == "owner":
                connection.role = ""
                wrong += [("owner", found) for found in {*seen()} ^ {*lots}]
        connection.close()
        return wrong

    with through(pooler, login=login), ThreadPoolExecutor(6) as threads:
        assert [wrong for found in threads.map(works, range(12)) for wrong in found] == []


def test_login_of_the_web_server_can_do_nothing_outside_its_role(pooler, lots):
    with psycopg.connect(f"postgresql://any@127.0.0.1:{pooler}/web", autocommit=True) as session:
        for statement in (
            "SELECT * FROM lots_lot", "SELECT * FROM teams_user", "SELECT leafspan_every_team()",
            "SET ROLE leafspan", "SET ROLE leafspan_app_worker",
        ):  # fmt: skip
            with pytest.raises(psycopg.errors.InsufficientPrivilege):
                session.execute(statement)
        assert session.execute("SELECT set_config('role', 'leafspan_app', true)").fetchone() == ("leafspan_app",)
        with pytest.raises(psycopg.errors.InsufficientPrivilege):
            session.execute("SELECT * FROM lots_lot")  # the role went with the transaction


def test_phone_syncs_through_the_pooler(pooler, taster, lots):
    with through(pooler, login="web"):
        for number in range(12):  # more often than psycopg by itself would prepare a statement on the server
            answer = sync(taster.client, [change("lot", name=f"Lot {number}", kind="green")])
            assert [verdict["verdict"] for verdict in answer["verdicts"]] == ["applied"]
        pulled = {one["id"] for one in sync(taster.client, cursor=0)["changes"] if one["type"] == "lot"}
    assert pulled == {str(lot) for lot in Lot.objects.filter(team=lots[0]).values_list("id", flat=True)}
    assert len(pulled) == 15
