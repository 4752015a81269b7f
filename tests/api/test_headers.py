"""Security headers of every answer; no page needs more than its policy allows."""

import re
from html.parser import HTMLParser

import pytest
from django.conf import settings as configured
from django.test import Client

from api.http.headers import PAGES_ONLY
from tests.api.phone import PHONE


class Parts(HTMLParser):
    """Collects what a strict policy would not run: scripts in the page, styles in it, handlers in attributes."""

    def __init__(self, page):
        super().__init__()
        self.inline, self.sources, self._open = [], [], ""
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        self.inline += [name for name in given if name == "style" or name.startswith("on")]
        self.sources += [given[name] for name in ("src", "href") if tag in ("script", "link", "img") and name in given]
        self._open = tag if tag in ("script", "style") and "src" not in given else ""

    def handle_data(self, data):
        if self._open and data.strip():
            self.inline.append(self._open)


@pytest.mark.parametrize(
    "address",
    [
        "/sign-in/", "/reset/", "/join/x/", "/reset/x/", "/api/v1/docs", "/api/v1/docs/client", "/api/v1/docs/lots",
        "/lots/", "/no-such",
    ],
)  # fmt: skip
def test_pages_have_nothing_inline_and_nothing_from_elsewhere(db, address):
    answer = Client().get(address, follow=True)
    policy, parts = answer["Content-Security-Policy"], Parts(answer.content.decode())

    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert parts.inline == []
    assert [source for source in parts.sources if not source.startswith("/")] == []


def test_templates_have_no_scripts_and_no_handlers():
    templates = list((configured.BASE_DIR / "pages" / "templates").rglob("*.html"))
    with_scripts = [
        file.name
        for file in templates
        if re.search(r"<script(?! src=)|\son[a-z]+=|javascript:", file.read_text("utf-8"))
    ]

    assert len(templates) > 10
    assert with_scripts == []


@pytest.mark.parametrize(
    ("address", "accept"), [("/no-such", "text/html"), ("/sign-in/", "*/*"), ("/api/v1/schema", "*/*")]
)
def test_every_page_tells_browsers_what_not_to_do(db, address, accept):
    answer = Client().get(address, headers={"accept": accept})

    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["X-Frame-Options"] == "DENY"
    assert answer["Referrer-Policy"] == "same-origin"
    assert answer["Cross-Origin-Opener-Policy"] == "same-origin"
    assert answer["Cross-Origin-Resource-Policy"] == "same-origin"
    assert "camera=()" in answer["Permissions-Policy"]
    assert answer["Content-Security-Policy"].startswith("default-src 'none'")


def test_json_has_the_headers_that_matter_to_json_and_no_more(db, taster):
    # OWASP REST Security Cheat Sheet, "Security Headers": what only a rendered page needs may be left out
    for answer in (Client().get("/api/v1/me"), taster.client.post("/api/v1/sync", {"schema": 1, "device": str(PHONE)})):
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert answer["Cross-Origin-Resource-Policy"] == "same-origin"
        assert answer["Content-Security-Policy"] == "default-src 'none'; frame-ancestors 'none'"
        assert not answer.headers.keys() & set(PAGES_ONLY)
