"""The guide for people who build a client, and the files that it names, for readers without the source."""

import re
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path, PurePosixPath
from posixpath import normpath

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path
from django.utils.safestring import SafeString, mark_safe
from markdown_it import MarkdownIt
from markdown_it.token import Token

from pages.browser import page, reads_only
from teams.errors import NotFound

BASE = "/api/v1/docs/"
GUIDES = {"client.md": f"{BASE}client", "conformance/README.md": f"{BASE}conformance"}
"""Documents shown as pages, by their path below ``docs/``."""
EXAMPLE = "examples/first-tasting.json"
"""A file that is served as it is, as are all recordings of the conformance kit."""


@dataclass(frozen=True, slots=True)
class _Guide:
    """A document as HTML; ``sections`` are the anchors and titles of its second headings."""

    title: str
    body: SafeString
    sections: list[tuple[str, str]]


@reads_only
@page
def show(request: HttpRequest, *, document: str) -> HttpResponse:
    """Show a document as a page."""
    return render(request, "pages/client_guide.html", {"guide": _guide(document)})


@reads_only
@page
def send_file(_: HttpRequest, *, folder: str, name: str) -> HttpResponse:
    """Send a JSON file that a guide names."""
    if (file := _files().get(f"{folder}/{name}")) is None:
        raise NotFound
    return HttpResponse(file.read_bytes(), content_type="application/json")


@cache
def _files() -> dict[str, Path]:
    """Return the files that are served, by their path below ``docs/``."""
    docs = Path(settings.BASE_DIR) / "docs"
    return {str(file.relative_to(docs)): file for file in [docs / EXAMPLE, *(docs / "conformance").glob("*.json")]}


@cache
def _guide(document: str) -> _Guide:
    text = (Path(settings.BASE_DIR) / "docs" / document).read_text("utf-8")
    markdown = MarkdownIt("commonmark", {"html": False}).enable("table")
    tokens = markdown.parse(text)
    title, sections = "", []
    for heading, inline in pairwise(tokens):
        if heading.type == "heading_open" and heading.tag == "h1":
            title = inline.content
        elif heading.type == "heading_open" and heading.tag == "h2":
            anchor = re.sub(r"\W+", "-", inline.content.lower())
            heading.attrSet("id", anchor)
            sections.append((anchor, inline.content))
    for token in tokens:
        if token.type in ("fence", "code_block"):
            token.attrSet("tabindex", "0")  # what scrolls must be reached by keyboard
        token.children = _with_served_links(token.children, document=document)
    body = markdown.renderer.render(tokens, markdown.options, {})
    return _Guide(title, mark_safe(body), sections)  # noqa: S308 - our own document, and the renderer escapes HTML


def _with_served_links(tokens: list[Token] | None, *, document: str) -> list[Token] | None:
    """Return the tokens of a line: links to files of the source lead to what is served, or are plain text."""
    if tokens is None:
        return None
    kept, is_plain = [], False
    for token in tokens:
        if token.type == "link_open":
            address = _address_of(str(token.attrGet("href")), document=document)
            is_plain = address is None
            token.attrSet("href", address or "")
        if not (is_plain and token.type in ("link_open", "link_close")):
            kept.append(token)
    return kept


def _address_of(link: str, *, document: str) -> str | None:
    """Return the address of what a link in a document leads to; None if that is not served."""
    if link.startswith(("https://", "http://", "/", "#")):
        return link
    file, _, anchor = link.partition("#")
    target = normpath(str(PurePosixPath(document).parent / file))
    address = GUIDES.get(target) or (f"{BASE}{target}" if target in _files() else None)
    return f"{address}#{anchor}" if address and anchor else address


urlpatterns = [
    *(path(address.removeprefix("/"), show, {"document": document}) for document, address in GUIDES.items()),
    path(f"{BASE}conformance/<str:name>".removeprefix("/"), send_file, {"folder": "conformance"}),
    path(f"{BASE}{EXAMPLE}".removeprefix("/"), send_file, {"folder": "examples", "name": Path(EXAMPLE).name}),
]
