"""Bodies are received before a thread is taken: whoever sends slowly keeps nobody waiting and holds little."""

import asyncio
import json
from dataclasses import replace
from threading import Barrier

import pytest
from django.db import connections
from django.utils.translation import gettext, override

from config.web import bodies, serving
from config.web.bodies import LIMITS, MAX_BODY_BYTES, ReceivedBody
from config.web.transfers import Transfers
from teams.postgresql.base import DatabaseWrapper
from tests.config.asgi import AsgiRequest
from tests.factories import TeamFactory, person

JSON = ("content-type", "application/json")
SIGN_IN = "/api/v1/auth/tokens"


def serving_with(app, **limits):
    """Return the web server before an application, with other limits for bodies."""
    made = serving.WebApplication(app)
    made._bodies = Transfers(replace(LIMITS, **limits))
    return made


def close_connections(app):
    """Close the database connections of all threads."""
    everyone = Barrier(serving.THREADS, timeout=60)

    def close():
        everyone.wait()
        connections.close_all()

    for done in [app._threaded.executor.submit(close) for _ in range(serving.THREADS)]:
        done.result(timeout=60)


def echo(environ, start_response):
    """Answer with the length and the body that came, as a WSGI application."""
    body = environ["wsgi.input"].read()
    start_response("200 OK", [("Content-Type", "text/plain")])
    return [f"{environ.get('CONTENT_LENGTH')} {environ.get('HTTP_TRANSFER_ENCODING')} ".encode() + body]


def posted(app, path="/", *, length=None, headers=(), peer="192.0.2.1"):
    """Begin to post a body of so many bytes, or of a length that nobody says."""
    framing = ("transfer-encoding", "chunked") if length is None else ("content-length", str(length))
    return AsgiRequest(app, path, method="POST", headers=[framing, *headers], peer=peer)


@pytest.mark.django_db(transaction=True)
def test_more_slow_senders_than_threads_and_all_others_are_answered():
    from config.wsgi import application  # noqa: PLC0415 - loads every view

    who = person(TeamFactory(), "taster")

    async def scene():
        app = serving.WebApplication(application)
        slow = [posted(app, SIGN_IN, length=1000, headers=[JSON]) for _ in range(4 * serving.THREADS)]
        for one in slow:
            one.send(b'{"username": ')
        live = await AsgiRequest(app, "/health/live").answer()
        mine = await AsgiRequest(app, "/api/v1/me", headers=[("authorization", f"Bearer {who.token}")]).answer()
        still_sending = [not one.task.done() for one in slow]
        slow[0].send(b'"ina", "password": "wrong", "device": "x"}' + b" " * 945, more=False)
        end = await slow[0].answer()
        for one in slow[1:]:
            one.hang_up()
            await one.answer()
        close_connections(app)
        return live.status, mine.status, still_sending, end

    live, mine, still_sending, end = asyncio.run(scene())
    assert (live, mine) == (200, 200)
    assert all(still_sending)
    assert (end.status, end.json()["type"]) == (401, "/problems/not-signed-in")


def test_slow_body_is_refused_in_the_language_of_who_sends_it():
    async def scene():
        app = serving_with(echo, idle_s=0.1)
        slow = posted(app, length=1000, headers=[("accept-language", "de")])
        slow.send(b"x")
        return await slow.answer()

    answer = asyncio.run(scene())
    assert (answer.status, answer.json()["type"]) == (408, "/problems/too-slow")
    assert answer.headers["connection"] == "close"
    with override("de"):
        assert answer.json()["detail"] == gettext("the body came too slowly; nothing was applied, send it again")


@pytest.mark.parametrize("limit", [{"least_bytes_per_s": 1e9, "idle_s": 0.2}, {"total_s": 0.2}])
def test_a_body_that_trickles_without_a_pause_is_too_slow_in_the_end(limit):
    async def scene():
        app = serving_with(echo, **limit)
        slow = posted(app, length=10**6)
        while not slow.task.done():
            slow.send(b"x")
            await asyncio.sleep(0.01)
        return slow.status

    assert asyncio.run(scene()) == 408


@pytest.mark.parametrize("length", [MAX_BODY_BYTES + 1, None])
def test_body_beyond_every_limit_is_refused_before_a_thread_is_taken(length):
    def app(environ, start_response):
        raise AssertionError("a thread was taken")

    async def scene():
        large = posted(serving.WebApplication(app), length=length)
        if length is None:
            for _ in range(5):
                large.send(bytes(1024 * 1024))
        large.hang_up()
        return await large.answer()

    answer = asyncio.run(scene())
    assert (answer.status, answer.json()["type"]) == (413, "/problems/too-large")


@pytest.mark.parametrize("chunked", [True, False])
def test_body_in_very_many_small_pieces_is_refused(chunked):
    """Each piece costs time on the event loop: 300,000 chunks of one byte took 4.6 s of it."""

    async def scene():
        request = posted(serving.WebApplication(echo), length=None if chunked else 100_000)
        for _ in range(bodies.FREE_PIECES + 1):
            request.send(b"a")
        return await request.answer()

    answer = asyncio.run(scene())
    assert (answer.status, answer.json()["type"]) == (400, "/problems/bad-request")


def test_body_in_many_pieces_of_an_ordinary_size_arrives():
    async def scene():
        request = posted(serving.WebApplication(echo))
        for _ in range(bodies.FREE_PIECES + 100):
            request.send(b"a" * bodies.LEAST_PIECE_BYTES)
        request.send(b"", more=False)
        return await request.answer()

    assert len(asyncio.run(scene()).body) > bodies.FREE_PIECES * bodies.LEAST_PIECE_BYTES


@pytest.mark.parametrize("size", [0, 1, bodies.MEMORY_BYTES, bodies.MEMORY_BYTES + 1, MAX_BODY_BYTES])
@pytest.mark.parametrize("chunked", [True, False])
def test_body_arrives_whole_and_with_its_length(size, chunked):
    sent = bytes(i % 251 for i in range(1000)) * (size // 1000 + 1)

    async def scene():
        request = posted(serving.WebApplication(echo), length=None if chunked else size)
        for start in range(0, size, 100_000):
            request.send(sent[start : min(start + 100_000, size)])
        request.send(b"", more=False)
        return await request.answer()

    answer = asyncio.run(scene())
    length = b"0 None " if size == 0 and not chunked else f"{size} None ".encode()
    assert answer.body == length + sent[:size]


@pytest.mark.django_db(transaction=True)
def test_chunked_body_is_read_by_the_api():
    from config.wsgi import application  # noqa: PLC0415

    async def scene():
        app = serving.WebApplication(application)
        request = posted(app, SIGN_IN, headers=[JSON])
        request.send(json.dumps({"username": "ina", "password": "wrong", "device": "phone"}).encode(), more=False)
        answer = await request.answer()
        close_connections(app)
        return answer

    answer = asyncio.run(scene())
    assert (answer.status, answer.json()["type"]) == (401, "/problems/not-signed-in")


def test_sender_that_leaves_reaches_no_view_and_leaves_nothing():
    def app(environ, start_response):
        raise AssertionError("a thread was taken")

    async def scene():
        made = serving.WebApplication(app)
        gone = posted(made, length=1000)
        gone.send(b"x" * 500)
        gone.hang_up()
        await gone.answer()
        return gone.status, made._bodies.occupied

    assert asyncio.run(scene()) == (None, 0)


def test_client_with_too_many_unfinished_bodies_loses_its_slowest():
    async def scene():
        app = serving_with(echo, most_of_client=2)
        fast, slow = posted(app, length=100), posted(app, length=100)
        other = posted(app, length=100, peer="192.0.2.9")
        fast.send(b"x" * 90)
        slow.send(b"x")
        await asyncio.sleep(1.5)
        third = posted(app, length=3)
        third.send(b"abc", more=False)
        answers = [(await request.answer()).status for request in (slow, third)]
        states = [fast.task.done(), other.task.done()]
        fast.send(b"x" * 10, more=False)
        other.send(b"x" * 100, more=False)
        return answers, states, [(await request.answer()).status for request in (fast, other)]

    assert asyncio.run(scene()) == ([408, 200], [False, False], [200, 200])


def test_bodies_that_hold_too_much_make_room_and_finished_ones_are_not_cut_off():
    async def scene():
        transfers = Transfers(replace(LIMITS, most_bytes=1000))
        finished, slow, new = (ReceivedBody(transfers) for _ in range(3))

        async def whole():
            return {"type": "http.request", "body": b"x" * 400, "more_body": False}

        async def half(sent=[]):  # noqa: B006 - once only
            if sent:
                await asyncio.Event().wait()
            sent.append(1)
            return {"type": "http.request", "body": b"x" * 400, "more_body": True}

        await finished.take(whole, client="a")
        slow_task = asyncio.create_task(slow.take(half, client="b"))
        await asyncio.sleep(0.05)
        await new.take(whole, client="c")
        cut_off = await asyncio.gather(slow_task, return_exceptions=True)
        occupied = transfers.occupied
        for body in (finished, slow, new):
            body.close()
        return type(cut_off[0]), occupied, transfers.occupied

    assert asyncio.run(scene()) == (TimeoutError, 800, 0)


def test_when_finished_bodies_fill_everything_the_next_is_asked_to_come_again():
    async def scene():
        app = serving_with(echo, most_bytes=10)
        request = posted(app, length=11)
        request.send(b"x" * 11, more=False)
        return await request.answer()

    answer = asyncio.run(scene())
    assert (answer.status, answer.json()["type"]) == (503, "/problems/busy")
    assert int(answer.headers["retry-after"]) > 0


def test_live_events_ask_to_come_again_while_the_database_is_away(monkeypatch):
    from django.db.utils import OperationalError  # noqa: PLC0415

    def down(_database):
        raise OperationalError("connection refused")

    monkeypatch.setattr(DatabaseWrapper, "cursor", down)

    async def scene():
        request = AsgiRequest(serving.WebApplication(echo), "/api/v1/events", headers=[("authorization", "Bearer x")])
        return await request.answer()

    answer = asyncio.run(scene())
    assert (answer.status, "retry-after" in answer.headers) == (503, True)
