"""Readers that vanish or stop reading give the thread back, and what it held is let go."""

import asyncio
from threading import Event

import pytest

from config.web.threads import Threaded

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


async def nothing():
    return {"type": "http.request", "body": b"", "more_body": False}


def served(app, send, *, timeout_s=5.0):
    """Serve one request with a single thread; return whether the thread was free for another within a while."""

    async def run():
        threaded = Threaded(app, workers=1, timeout_s=timeout_s)
        task = asyncio.ensure_future(threaded(SCOPE, nothing, send))
        await asyncio.wait([task], timeout=120)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        free = asyncio.get_running_loop().run_in_executor(threaded.executor, lambda: True)
        return await asyncio.wait_for(free, timeout=120)

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

    assert served(app, send, timeout_s=0.3)
    assert app.closed.wait(5)


def test_connection_that_the_server_gives_up_frees_the_thread():
    app = Endless()

    async def run():
        threaded = Threaded(app, workers=1)

        async def send(message):
            await asyncio.Event().wait()

        task = asyncio.ensure_future(threaded(SCOPE, nothing, send))
        await asyncio.sleep(0.5)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        free = asyncio.get_running_loop().run_in_executor(threaded.executor, lambda: True)
        return await asyncio.wait_for(free, timeout=120)

    assert asyncio.run(run())
    assert app.closed.is_set()
