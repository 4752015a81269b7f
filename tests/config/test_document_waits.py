"""Requests for a PDF wait for the worker on the event loop; meanwhile their threads serve others."""

import asyncio
from uuid import uuid4

import pytest

from config.web import documents, serving
from pages.reports import WAITS_FOR
from tests.config.asgi import AsgiRequest


@pytest.fixture
def made(monkeypatch):
    """The documents that are made, as the database would say; looked for often."""
    found = set()
    monkeypatch.setattr(documents, "_finished", lambda wanted: {one for _team, one in wanted if one in found})
    monkeypatch.setattr(documents, "_LOOK_EVERY_S", 0.01)
    return found


class Documents:
    """A WSGI application that answers 202 until a document is made; ``served`` counts its requests."""

    def __init__(self, made):
        self.made, self.served = made, 0

    def __call__(self, environ, start_response):
        self.served += 1
        document = environ["PATH_INFO"].strip("/")
        if not document:
            start_response("200 OK", [])
            return [b"small"]
        if any(str(one) == document for one in self.made):
            start_response("200 OK", [("Content-Type", "application/pdf")])
            return [b"%PDF"]
        start_response("202 Accepted", [(WAITS_FOR, f"{uuid4()}/{document}"), ("Retry-After", "2")])
        return [b"later"]


def test_more_waiting_requests_than_threads_and_others_are_answered(made):
    wanted = [uuid4() for _ in range(6 * serving.THREADS)]

    async def scene():
        app = serving.WebApplication(Documents(made))
        # each of another person: a client has a share of the threads only
        waiting = [AsgiRequest(app, f"/{one}", peer=f"192.0.2.{i}") for i, one in enumerate(wanted)]
        while len(app._documents._waiting) < len(wanted):
            await asyncio.sleep(0.01)
        small = await AsgiRequest(app, "/").answer()
        states = {one.task.done() for one in waiting}
        made.update(wanted)
        bodies = {(await one.answer()).body for one in waiting}
        await app._documents._watch  # ends without an error, its connection closed
        return small.body, states, bodies

    assert asyncio.run(scene()) == (b"small", {False}, {b"%PDF"})


def test_document_that_takes_too_long_gives_the_202_without_our_header(made, monkeypatch):
    monkeypatch.setattr(documents, "WAIT_S", 0.05)

    async def scene():
        return await AsgiRequest(serving.WebApplication(Documents(made)), f"/{uuid4()}").answer()

    answer = asyncio.run(scene())
    assert (answer.status, answer.body, answer.headers["retry-after"]) == (202, b"later", "2")
    assert WAITS_FOR.lower() not in answer.headers


def test_more_than_fit_get_their_202_at_once(made, monkeypatch):
    monkeypatch.setattr(documents, "MOST_WAITING", 0)

    async def scene():
        return await AsgiRequest(serving.WebApplication(Documents(made)), f"/{uuid4()}").answer()

    assert asyncio.run(scene()).status == 202


def test_database_that_is_away_for_a_moment_ends_no_wait(made, monkeypatch):
    document, calls = uuid4(), []

    def finished(wanted):
        calls.append(1)
        if len(calls) < 3:
            raise ConnectionError
        return {document}

    monkeypatch.setattr(documents, "_finished", finished)

    async def scene():
        app = serving.WebApplication(Documents(made))
        request = AsgiRequest(app, f"/{document}")
        while len(calls) < 2:
            await asyncio.sleep(0.01)
        made.add(document)
        return await request.answer()

    assert asyncio.run(scene()).body == b"%PDF"
