"""Chromium for the tests of the app's screens, started once for each file."""

import threading

import pytest
from django.conf import settings
from django.test import Client

from tests.factories import LotFactory, TeamFactory, person
from tests.table.browser import Phone, Proxy, chromium, started_playwright


@pytest.fixture(scope="module")
def browser():
    """Chromium without a window."""
    program = chromium()
    with started_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])
        yield started
        started.close()


@pytest.fixture
def live_server(live_server):
    """The server; no request is in progress any more when the database is emptied after a test."""
    yield live_server
    for thread in threading.enumerate():
        if "process_request_thread" in thread.name:
            thread.join(timeout=20)
            assert not thread.is_alive(), "a request outlived its test"


@pytest.fixture
def network(live_server):
    """The way to a server with the app, which a test can cut."""
    proxy = Proxy(live_server.url)
    yield proxy
    proxy.close()


@pytest.fixture
def who(lexicon):
    return person(TeamFactory(), "taster")


@pytest.fixture
def lot(who):
    return str(LotFactory(team=who.team).id)


@pytest.fixture
def clock_is_ahead_by_min():
    return 0


@pytest.fixture
def session_cookie(who):
    client = Client()
    client.force_login(who.user)
    return client.cookies[settings.SESSION_COOKIE_NAME].value


@pytest.fixture
def phone(browser, network, session_cookie, clock_is_ahead_by_min):
    script = f"globalThis.realNow = Date.now; Date.now = () => realNow() + {clock_is_ahead_by_min * 60_000};"
    phone = Phone(browser, url=network.url, script=script)
    phone.sign_in(session_cookie)
    yield phone
    phone.close()
    assert phone.errors == []
