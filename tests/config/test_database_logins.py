"""Logins of web and worker on a server of one's own: made, given other passwords, refused if they could do more."""

import json
from io import StringIO

import psycopg
import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from config.checks import check_login
from teams.database_role import REPLICATION_LOGIN

NAMES = {"web": "web_of_this_test", "worker": "worker_of_this_test"}
pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def _passwords(monkeypatch):
    for name in NAMES:
        monkeypatch.setenv(f"LEAFSPAN_{name.upper()}_PASSWORD", f"first of {name}")


@pytest.fixture
def administrator(django_db_modify_db_settings):
    """Have Django sign in as the server's superuser; the logins made are deleted at the end."""
    if django_db_modify_db_settings is None:
        pytest.skip("DATABASE_URL names a server whose superuser is not known")
    secrets = json.loads((django_db_modify_db_settings.home / "secrets.json").read_text())
    before = dict(connection.settings_dict)
    connection.close()
    connection.settings_dict.update(USER="postgres", PASSWORD=secrets["superuser_password"])
    yield
    with connection.cursor() as cursor:
        for name in (*NAMES.values(), REPLICATION_LOGIN):
            cursor.execute(f"DROP ROLE IF EXISTS {name}")
    connection.close()
    connection.settings_dict.update(before)


def connected(name, password):
    settings = connection.settings_dict
    return psycopg.connect(
        host=settings["HOST"], port=settings["PORT"], dbname=settings["NAME"], user=NAMES[name], password=password
    )


def test_logins_act_as_their_role_and_get_other_passwords(administrator, monkeypatch):
    for number in ("first", "second"):
        for name in NAMES:
            monkeypatch.setenv(f"LEAFSPAN_{name.upper()}_PASSWORD", f"{number} of {name}")
        call_command("database_logins", **NAMES, stdout=StringIO())
        for name, role in (("web", "leafspan_app"), ("worker", "leafspan_app_worker")):
            with connected(name, f"{number} of {name}") as session:
                session.execute(f"SET LOCAL ROLE {role}")
                assert session.execute("SELECT count(*) FROM lots_lot").fetchone() == (0,)
    with pytest.raises(psycopg.OperationalError):
        connected("web", "first of web")


def test_login_of_a_replica_may_copy_and_is_not_made_unless_asked_for(administrator, monkeypatch):
    made = StringIO()
    call_command("database_logins", **NAMES, stdout=made)
    assert REPLICATION_LOGIN not in made.getvalue()
    for password in ("first", "second"):
        monkeypatch.setenv("LEAFSPAN_REPLICATION_PASSWORD", password)
        call_command("database_logins", **NAMES, stdout=made)
        settings = connection.settings_dict
        with psycopg.connect(
            host=settings["HOST"], port=settings["PORT"], user=REPLICATION_LOGIN, password=password, dbname="postgres"
        ) as session:
            found = session.execute("SELECT rolreplication, rolsuper FROM pg_roles WHERE rolname = current_user")
            assert found.fetchone() == (True, False)


@pytest.mark.parametrize("more", ["CREATEROLE", "BYPASSRLS", "SUPERUSER"])
def test_login_that_could_do_more_is_refused(administrator, more):
    with connection.cursor() as cursor:
        cursor.execute(f"CREATE ROLE {NAMES['web']} LOGIN {more}")
    with pytest.raises(CommandError, match="the login web_of_this_test may do more than act as leafspan_app"):
        call_command("database_logins", **NAMES)
    with pytest.raises(CommandError, match="the login leafspan may do more"):
        call_command("database_logins", web="leafspan", worker=NAMES["worker"])


def test_owner_that_may_make_no_logins_prints_what_to_run(db):
    with pytest.raises(CommandError, match='CREATE ROLE "web_of_this_test" LOGIN NOINHERIT PASSWORD') as refused:
        call_command("database_logins", **NAMES)
    assert 'GRANT "leafspan_app" TO "web_of_this_test";' in str(refused.value)


def test_passwords_must_be_given(db, monkeypatch):
    monkeypatch.delenv("LEAFSPAN_WORKER_PASSWORD")
    with pytest.raises(CommandError, match="give LEAFSPAN_WEB_PASSWORD and LEAFSPAN_WORKER_PASSWORD"):
        call_command("database_logins", **NAMES)


def test_check_before_real_use_warns_of_an_owner(db):
    assert [found.id for found in check_login(["default"])] == ["leafspan.W004"]
    assert check_login() == []
