"""Chromium for the tests of the app's screens, started once for each file."""

import threading

import pytest

from tests.table.browser import Proxy, chromium, started_playwright


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
