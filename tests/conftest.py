"""Servers, people and words that tests of any room ask for by name."""

import gc
import os
import threading
from functools import cache

import dj_database_url
import pytest
from celery import current_app
from django.conf import settings
from django.contrib.auth.hashers import Argon2PasswordHasher
from django.contrib.auth.models import Permission
from django.contrib.contenttypes.models import ContentType
from django.core.management.commands import flush
from django.core.servers.basehttp import WSGIRequestHandler
from django.db import connections
from django.template import Template
from hypothesis import HealthCheck
from hypothesis import settings as drawing

from config.dev.services import test_servers as throw_away_servers
from config.web.stack import reserve_stack
from tastings.actions.lexicon import load_lexicon
from tastings.models import Descriptor
from teams.models import Role
from teams.row_security import work_as_owner
from tests.factories import TeamFactory, person
from tests.table.browser import chromium, started_playwright

_RENDER = vars(Template)["_render"]


def pytest_configure():
    """Look for no static files: nothing is collected for a test run, and each new client would list them anew.

    Stories send in seconds what a phone sends in weeks, so requests are not limited either but where that is tested.
    """
    # How long an example takes says what else the machine does. The same examples each time, so that a change is
    # judged by what it changes; other ones each time under `make fuzz`.
    drawing.register_profile(
        "here",
        deadline=None,
        suppress_health_check=[HealthCheck.too_slow],
        derandomize="LEAFSPAN_FUZZ" not in os.environ,
    )
    drawing.load_profile("here")
    settings.WHITENOISE_USE_FINDERS = False
    settings.API_REQUESTS_PER_MINUTE = 1_000_000
    # tables and rows are made by the owner, requests are served by the application's role, as in production
    work_as_owner()
    settings.MIDDLEWARE = ["tests.row_security.RowSecurityMiddleware", *settings.MIDDLEWARE]


def pytest_itemcollected(item):
    """Reserve room on the stack for each test, as the web server does for each request."""
    if isinstance(item, pytest.Function):
        item.obj = reserve_stack(item.obj)


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items):
    """Put long tests first, lest one runs alone at the end; then those that start programs, since these often wait."""

    def place(item):
        starts_programs = item.path.parent.name == "config" or "live_server" in item.fixturenames
        return 0 if item.get_closest_marker("long") else 1 if starts_programs else 2

    items.sort(key=place)


def pytest_collection_finish():
    """Leave what was imported and collected out of every later collection of garbage."""
    gc.freeze()
    gc.set_threshold(50_000, 20, 20)


@pytest.fixture(scope="session")
def django_db_modify_db_settings(django_db_modify_db_settings):
    """Start throw-away servers unless the environment names both, the moment the first test asks for the database.

    ``make test`` names them; a plain ``pytest tests/api`` in a shell does not, and must never reach the servers of a
    ``make run`` beside it. Gives the servers that it has started, or None.
    """
    if os.environ.get("DATABASE_URL") and os.environ.get("REDIS_URL"):
        yield None
        return
    with throw_away_servers() as found:
        connections["default"].settings_dict.update(dj_database_url.parse(found.database_url, "teams.postgresql", 60))
        settings.REDIS_URL = settings.CELERY_BROKER_URL = found.redis_url
        current_app.conf.broker_url = current_app.conf.broker_read_url = current_app.conf.broker_write_url = (
            found.redis_url
        )
        yield found


@pytest.fixture(scope="session", autouse=True)
def _empty_tables_quickly():
    """Empty after a test that commits only the tables that have rows: truncating all makes two hundred files anew.

    Content types and permissions stay, or Django would make the same ones again after each such test.
    """

    @cache
    def tables():
        names = connections["default"].introspection.django_table_names(only_existing=True, include_views=False)
        made_by_django = {model._meta.db_table for model in (ContentType, Permission)}
        return [connections["default"].ops.quote_name(name) for name in names if name not in made_by_django]

    def sql_flush(_style, connection, **_options):
        with connection.cursor() as cursor:
            asked = [f"SELECT '{table}' WHERE EXISTS (SELECT FROM {table})" for table in tables()]  # noqa: S608 - names of tables
            cursor.execute(" UNION ALL ".join(asked))
            filled = [table for (table,) in cursor.fetchall()]
        # in one statement, at whose end the references are checked
        deletions = ", ".join(f"from_{i} AS (DELETE FROM {table})" for i, table in enumerate(filled))  # noqa: S608 - as above
        return [f"WITH {deletions} SELECT"] if filled else []

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(flush, "sql_flush", sql_flush)
        patch.setattr(flush, "emit_post_migrate_signal", lambda *_arguments, **_options: None)
        yield


@pytest.fixture(scope="session", autouse=True)
def _templates_as_on_a_server(django_test_environment):
    """Render templates as a server does: Django would copy the context of each for tests, and none of ours reads it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Template, "_render", _RENDER)
        yield


@pytest.fixture(autouse=True)
def _quick_passwords(monkeypatch):
    """Keep Argon2, with costs that do not slow the tests."""
    for name, cost in {"time_cost": 1, "memory_cost": 8, "parallelism": 1}.items():
        monkeypatch.setattr(Argon2PasswordHasher, name, cost)


@pytest.fixture
def team(db):
    """The team that owner, buyer, taster and viewer belong to."""
    return TeamFactory(name="Kettle & Lid")


@pytest.fixture
def owner(team):
    return person(team, Role.OWNER)


@pytest.fixture
def buyer(team):
    return person(team, Role.BUYER)


@pytest.fixture
def taster(team):
    return person(team, Role.TASTER)


@pytest.fixture
def viewer(team):
    return person(team, Role.VIEWER)


@pytest.fixture
def stranger(db):
    """The owner of another team."""
    return person(TeamFactory(name="Other House"), Role.OWNER)


@pytest.fixture(scope="session")
def _lexicon_rows():
    """The built-in descriptors as JSON, once a test has loaded them."""
    return []


@pytest.fixture
def lexicon(db, _lexicon_rows):
    """The built-in descriptors, which a fresh database lacks; loaded once, and copied for each later test."""
    with connections["default"].cursor() as cursor:
        if _lexicon_rows:
            table = Descriptor._meta.db_table
            rows = f"SELECT * FROM json_populate_recordset(NULL::{table}, %s)"  # noqa: S608 - the name of a table
            cursor.execute(f"INSERT INTO {table} {rows} ON CONFLICT DO NOTHING", _lexicon_rows)
        else:
            load_lexicon()
            cursor.execute(f"SELECT json_agg(d)::text FROM {Descriptor._meta.db_table} d WHERE team_id IS NULL")  # noqa: S608
            _lexicon_rows.extend(cursor.fetchone())


@pytest.fixture(scope="module")
def browser():
    """Chromium without a window, started once for each file."""
    program = chromium()
    with started_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])
        yield started
        started.close()


@pytest.fixture
def live_server(live_server, monkeypatch):
    """The server; no request is in progress any more when the database is emptied after a test.

    It sends head and body apart, so the second would wait 40 ms for the acknowledgement of the first (RFC 896, 1122).
    """
    monkeypatch.setattr(WSGIRequestHandler, "disable_nagle_algorithm", True)
    yield live_server
    for thread in threading.enumerate():
        if "process_request_thread" in thread.name:
            thread.join(timeout=20)
            assert not thread.is_alive(), "a request outlived its test"
