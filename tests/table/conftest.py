"""Phones for the tests of the app's screens."""

import pytest
from django.conf import settings
from django.test import Client

from tests.factories import LotFactory, TeamFactory, person
from tests.table.browser import Phone, Proxy


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
