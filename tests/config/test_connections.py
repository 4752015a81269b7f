"""Connections that send no whole head, or are too many, make room for others."""

import asyncio
import logging
from contextlib import asynccontextmanager

import pytest
from gunicorn.config import Config  # type: ignore[import-untyped]
from gunicorn.glogging import Logger  # type: ignore[import-untyped]

from config.web import connections
from config.web.connections import Connection, Worker


async def hello(scope, receive, send):
    """Answer every request."""
    await send({"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"5")]})
    await send({"type": "http.response.body", "body": b"hello"})


@asynccontextmanager
async def served(*, most=100):
    """Serve with connections of ours, without the processes around them; yield worker and port."""
    settings = Config()
    settings.set("keepalive", connections.KEEP_ALIVE_S)
    settings.set("worker_connections", most)
    worker = Worker(0, 0, [], None, 30, settings, Logger(settings))
    worker.loop, worker.asgi = asyncio.get_running_loop(), hello
    server = await worker.loop.create_server(lambda: Connection(worker), "127.0.0.1", 0)
    worker.servers = [server]
    try:
        yield worker, server.sockets[0].getsockname()[1]
    finally:
        server.close()
        worker.tmp.close()
        for connection in list(worker.connections):
            connection.close()
        await asyncio.sleep(0.05)


class Client:
    """One connection to it."""

    @classmethod
    async def connect(cls, port):
        """Open it."""
        made = cls()
        made.reader, made.writer = await asyncio.open_connection("127.0.0.1", port)
        return made

    def send(self, content):
        """Send some bytes."""
        self.writer.write(content)

    async def ask(self):
        """Send a whole request; return the answer's last bytes."""
        self.send(b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n")
        async with asyncio.timeout(60):
            return (await self.reader.readuntil(b"hello"))[-5:]

    async def until_closed(self):
        """Wait until the server closes; return what it answer."""
        async with asyncio.timeout(60):
            try:
                return await self.reader.read()
            except ConnectionError:
                return b""
            finally:
                self.writer.close()


@pytest.fixture(autouse=True)
def _quiet():
    yield
    logging.getLogger("gunicorn.error").handlers.clear()


@pytest.mark.parametrize("begin", [b"", b"GET / HTTP/1.1\r\nHost: local"])
def test_head_that_is_never_finished_ends_the_connection(begin, monkeypatch):
    monkeypatch.setattr(connections, "HEAD_S", 0.2)

    async def scene():
        async with served() as (worker, port):
            slow = await Client.connect(port)
            slow.send(begin)
            answer = await slow.until_closed()
            await asyncio.sleep(0.05)
            return answer, len(worker.connections)

    answer, left = asyncio.run(scene())
    assert answer.startswith(b"HTTP/1.1 408")
    assert left == 0


def test_connection_stays_open_for_the_next_request(monkeypatch):
    monkeypatch.setattr(connections, "HEAD_S", 0.2)

    async def scene():
        async with served() as (_worker, port):
            client = await Client.connect(port)
            first = await client.ask()
            await asyncio.sleep(0.5)  # longer than a first head may take
            second = await client.ask()
            client.writer.close()
            return first, second

    assert asyncio.run(scene()) == (b"hello", b"hello")
    assert connections.KEEP_ALIVE_S >= 60


def test_newcomer_is_served_when_idle_connections_fill_the_process():
    async def scene():
        async with served(most=5) as (worker, port):
            idle = [await Client.connect(port) for _ in range(5)]
            await asyncio.sleep(0.05)
            new = await Client.connect(port)
            answer = await new.ask()
            closed = await idle[0].until_closed()
            number = len(worker.connections)
            for client in (*idle[1:], new):
                client.writer.close()
            return answer, closed, number

    assert asyncio.run(scene()) == (b"hello", b"", 5)


def test_process_that_ends_closes_what_is_idle_and_does_not_wait_for_it():
    async def scene():
        async with served() as (worker, port):
            client = await Client.connect(port)
            await client.ask()
            await worker._shutdown()
            return await client.until_closed(), len(worker.connections)

    assert asyncio.run(scene()) == (b"", 0)
