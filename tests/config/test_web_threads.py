"""Readers that vanish or stop reading give the thread back, and what it held is let go."""

import asyncio
from io import BytesIO
from threading import Event

import pytest

from config.web.threads import Threaded
from config.web.transfers import Limits

SCOPE = {"type": "http", "method": "GET", "path": "/", "query_string": b"", "http_version": "1.1", "headers": []}


class Endless:
    """A WSGI application whose answer has no end; ``closed`` is set once it is let go."""

    def __init__(self, pieces=10_000):
        self.closed, self.pieces = Event(), pieces

    def __call__(self, environ, start_response):
        start_response("200 OK", [("Content-Type", "text/plain")])
        return self

    def __iter__(self):
        return iter([b"piece"] * self.pieces)

    def close(self):
        self.closed.set()


def limits(*, idle_s=60.0, most=10, most_bytes=10**9):
    return Limits(
        idle_s=idle_s, least_bytes_per_s=1.0, total_s=600.0, most=most, most_of_client=most, most_bytes=most_bytes
    )


def serve(threaded, send):
    return asyncio.ensure_future(threaded.serve(SCOPE, BytesIO(), send, client="192.0.2.1"))


async def is_free(threaded):
    """Whether the only thread is free for another request within a while."""
    free = asyncio.get_running_loop().run_in_executor(threaded.executor, lambda: True)
    return await asyncio.wait_for(free, timeout=120)


def served(app, send, *, idle_s=60.0):
    """Serve one request with a single thread; return whether the thread was free for another within a while."""

    async def run():
        threaded = Threaded(app, workers=1, limits=limits(idle_s=idle_s), ahead_bytes=50)
        task = serve(threaded, send)
        await asyncio.wait([task], timeout=120)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        return await is_free(threaded)

    return asyncio.run(run())


def test_whole_answer_is_sent_and_closed():
    app, got = Endless(pieces=50), []

    async def send(message):
        got.append(message)

    assert served(app, send)
    assert b"".join(message.get("body", b"") for message in got) == b"piece" * 50
    assert app.closed.is_set()


@pytest.mark.parametrize("after", [0, 1, 30])
def test_reader_that_vanishes_gives_the_thread_back(after):
    app, got = Endless(), []

    async def send(message):
        if len(got) >= after:
            raise ConnectionResetError
        got.append(message)

    assert served(app, send)
    assert app.closed.wait(5)


def test_reader_that_stops_reading_loses_the_answer():
    app, got = Endless(), []

    async def send(message):
        got.append(message)
        if len(got) > 3:
            await asyncio.Event().wait()

    assert served(app, send, idle_s=0.3)
    assert app.closed.wait(5)


def test_connection_that_the_server_gives_up_frees_the_thread():
    app = Endless()

    async def run():
        threaded = Threaded(app, workers=1, limits=limits(), ahead_bytes=50)
        begun = asyncio.Event()

        async def send(message):
            begun.set()
            await asyncio.Event().wait()

        task = serve(threaded, send)
        await begun.wait()
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        return await is_free(threaded)

    assert asyncio.run(run())
    assert app.closed.is_set()


def test_request_ends_only_when_its_thread_is_free():
    """Or the next request would be given a thread that still works for a client that has left."""
    begun, may_end = Event(), Event()

    def app(environ, start_response):
        begun.set()
        may_end.wait(timeout=60)
        start_response("200 OK", [])
        return [b"late"]

    async def run():
        threaded = Threaded(app, workers=1, limits=limits())

        async def ignore(message):
            pass

        task = serve(threaded, ignore)
        await asyncio.to_thread(begun.wait)
        task.cancel()
        await asyncio.wait([task], timeout=0.1)
        ended_before = task.done()
        may_end.set()
        await asyncio.gather(task, return_exceptions=True)
        return ended_before

    assert asyncio.run(run()) is False


def test_thread_goes_on_after_the_answer_once_its_end_is_passed_on(monkeypatch):
    monkeypatch.setattr("config.web.threads._GIVE_WAY_S", 120)
    app, passed_on = Endless(1), []

    async def send(message):
        passed_on.append((message.get("more_body"), app.closed.is_set()))

    asyncio.run(asyncio.wait_for(run_to_end(app, send), timeout=100))
    assert passed_on == [(None, False), (True, False), (None, False)]
    assert app.closed.is_set()


async def run_to_end(app, send):
    await serve(Threaded(app, workers=1, limits=limits()), send)


def test_slow_readers_of_ordinary_answers_take_no_thread():
    """Four readers of one answer each, which they do not read; the only thread serves a fifth."""

    def app(environ, start_response):
        start_response("200 OK", [])
        return [b"page" * 1000]

    async def run():
        threaded = Threaded(app, workers=1, limits=limits())
        reads, got = asyncio.Event(), []

        async def later(message):
            await reads.wait()

        async def at_once(message):
            got.append(message)

        slow = [serve(threaded, later) for _ in range(4)]
        await asyncio.wait_for(serve(threaded, at_once), timeout=120)
        states = [task.done() for task in slow]
        reads.set()
        await asyncio.gather(*slow)
        return states, b"".join(message.get("body", b"") for message in got)

    assert asyncio.run(run()) == ([False] * 4, b"page" * 1000)


def test_readers_that_hold_too_much_make_room_slowest_first():
    def app(environ, start_response):
        start_response("200 OK", [])
        return [b"x" * 1000]

    async def run():
        threaded = Threaded(app, workers=1, limits=limits(most_bytes=2500))

        async def never(message):
            if message["type"] == "http.response.body":
                await asyncio.Event().wait()

        slow = [serve(threaded, never) for _ in range(3)]
        done, waiting = await asyncio.wait(slow, timeout=120, return_when=asyncio.FIRST_COMPLETED)
        for task in waiting:
            task.cancel()
        await asyncio.gather(*slow, return_exceptions=True)
        return len(done), threaded._readers.occupied

    assert asyncio.run(run()) == (1, 0)


def test_large_pieces_are_passed_on_in_small_ones():
    got = []

    def app(environ, start_response):
        start_response("200 OK", [])
        return [bytes(range(256)) * 1000]

    async def send(message):
        got.append(message.get("body", b""))

    assert served(app, send)
    assert b"".join(got) == bytes(range(256)) * 1000
    assert max(map(len, got)) == 64 * 1024
