"""Browsers of the tests of pages."""

import pytest

from tests.factories import web_browser


@pytest.fixture
def client():
    """A browser without a session."""
    return web_browser()
