"""The app in a tab of a real browser, as a taster uses it."""

import contextlib
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.test import Client

from tests.table.browser import Proxy

PHONE = {"width": 390, "height": 844}


@dataclass
class Table:
    """The app in one tab, as a taster uses it."""

    page: Any
    network: Proxy
    troubles: list[str] = field(default_factory=list)
    """Errors of the console, violations of the policy and exceptions."""
    taps: int = 0

    def open(self, *where):
        """Open the app at a place."""
        self.page.goto(f"{self.network.url}/table/#/{'/'.join(where)}")
        self.page.wait_for_selector("h1")

    def cut(self):
        """Take the network away."""
        self.network.cut()
        self.page.context.set_offline(True)

    def mend(self):
        """Give the network back, which the browser notices."""
        self.network.mend()
        self.page.context.set_offline(False)

    def go(self, *where):
        """Change the place without loading the page."""
        self.page.evaluate("(hash) => { location.hash = hash; }", f"#/{'/'.join(where)}")

    def tap(self, selector, *, text=None):
        """Tap an element once, and count it."""
        found = self.page.locator(selector, has_text=text) if text else self.page.locator(selector)
        found.first.click()
        self.taps += 1

    def rate(self, word, points, *, finger=False):
        """Tap a rating line where the points stand, with the mouse or a finger."""
        line = self.page.locator(".rating-line", has=self.page.locator(f"#rate-{word}"))
        line.scroll_into_view_if_needed()
        box = line.bounding_box()
        place = {"x": 16 + (box["width"] - 32) * points / 10, "y": box["height"] / 2}
        (line.tap if finger else line.click)(position=place)
        self.taps += 1

    def later(self, seconds):
        """Let time pass, as if the phone had slept."""
        self.page.clock.fast_forward(int(seconds * 1000))

    def kept(self):
        """Return how many changes only the phone has."""
        words = self.page.inner_text(".kept > :first-child")
        return int(words.split()[0]) if words[0].isdigit() else 0

    def wait_sent(self):
        """Wait until the server has everything."""
        self.page.wait_for_selector('.kept[data-unsent="false"]', timeout=20_000)


def _is_trouble(line):
    """Chromium itself writes an error for each request without an answer, and the test's server has no live events."""
    no_network = "net::ERR_" in line.text
    no_events = line.location["url"].endswith("/api/v1/events")
    return line.type in ("error", "warning") and not no_network and not no_events


@contextlib.contextmanager
def table_of(browser, network, who, *, at=None, **options):
    """Open the app for a member who is signed in, once it has synced and can do without a network."""
    client = Client()
    client.force_login(who.user)
    context = browser.new_context(**{"viewport": PHONE, "locale": "en", "service_workers": "allow"} | options)
    context.add_cookies([{"name": "sessionid", "value": client.cookies["sessionid"].value, "url": network.url}])
    page = context.new_page()
    page.set_default_timeout(10_000)
    page.clock.install(time=at or datetime.now())  # noqa: DTZ005 - the phone's own clock
    table = Table(page, network)
    page.on("pageerror", lambda error: table.troubles.append(str(error)))
    page.on("console", lambda line: _is_trouble(line) and table.troubles.append(line.text))
    page.goto(f"{network.url}/table/")
    page.wait_for_selector(".home")
    page.wait_for_function("navigator.serviceWorker.controller || navigator.serviceWorker.ready.then(() => true)")
    table.wait_sent()
    try:
        yield table
        assert not table.troubles, table.troubles
    finally:
        context.close()
