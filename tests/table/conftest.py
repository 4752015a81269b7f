"""Chromium for the tests of the app's screens, started once for each file."""

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
def network(live_server):
    """The way to a server with the app, which a test can cut."""
    proxy = Proxy(live_server.url)
    yield proxy
    proxy.close()
