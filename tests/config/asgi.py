"""Requests to an ASGI application as a web server makes them, with bodies that come as a test says."""

import asyncio
import json


class AsgiRequest:
    """One request; its body comes piece by piece through `send`, its answer is in `status`, `headers` and `body`."""

    def __init__(self, app, path, *, method="GET", headers=(), peer="192.0.2.1", reads=True):
        self.scope = {
            "type": "http", "method": method, "path": path, "query_string": b"", "http_version": "1.1",
            "headers": [(b"host", b"localhost"), *((name.encode(), value.encode()) for name, value in headers)],
            "client": (peer, 50000), "server": ("localhost", 80), "scheme": "http",
        }  # fmt: skip
        self._pieces = asyncio.Queue()
        self._reads = asyncio.Event()
        if reads:
            self._reads.set()
        self.status, self.headers, self.body = None, {}, b""
        self.task = asyncio.create_task(app(self.scope, self._pieces.get, self._take))

    def send(self, piece, *, more=True):
        """Send a piece of the body."""
        self._pieces.put_nowait({"type": "http.request", "body": piece, "more_body": more})

    def hang_up(self):
        """Leave, as a client that closes its connection."""
        self._pieces.put_nowait({"type": "http.disconnect"})

    def read_on(self):
        """Read the answer, after ``reads=False``."""
        self._reads.set()

    async def _take(self, message):
        if message["type"] == "http.response.start":
            self.status = message["status"]
            self.headers = {name.decode(): value.decode() for name, value in message["headers"]}
            return
        await self._reads.wait()
        self.body += message.get("body", b"")

    async def answer(self):
        """Wait for the whole answer; return it."""
        async with asyncio.timeout(120):
            await self.task
        return self

    def json(self):
        """Return the body as JSON."""
        return json.loads(self.body)
