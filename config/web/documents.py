"""Waits on the event loop until a worker has made a PDF or picture, so that waiting takes no thread.

A view that finds a document unfinished answers 202 and names it in the header `pages.reports.WAITS_FOR`. That answer is
held back, the document waited for, and the request served once more: permissions are looked at again, and the view
finds the document ready. After `WAIT_S` the 202 goes out.
"""

import asyncio
import logging
from collections.abc import Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from uuid import UUID

from a2wsgi.asgi_typing import Send, SendEvent
from django.db import close_old_connections, connection

from pages.reports import WAITS_FOR
from tastings.queries.documents import finished_documents

WAIT_S = 4.0
"""How long a request waits for the worker before it answers 202. [s]"""
MOST_WAITING = 500
"""Most waiting requests in one process; others get their 202 at once."""
_LOOK_EVERY_S = 0.1
_HEADER = WAITS_FOR.lower().encode()
_log = logging.getLogger(__name__)


class DocumentWaits:
    """The documents that requests of one process wait for, asked for together."""

    def __init__(self) -> None:
        self._thread = ThreadPoolExecutor(1, "documents")
        self._waiting: dict[asyncio.Future[None], tuple[UUID, UUID]] = {}
        self._watch: asyncio.Task[None] | None = None

    async def serve(self, serve: Callable[[Send], Awaitable[None]], send: Send) -> None:
        """Serve a request by ``serve(send)``; a second time once the document is there."""
        first = _HoldingBack(send)
        await serve(first)
        if first.waits_for is not None:
            await self._wait(first.waits_for)
            await serve(_without_header(send))

    async def _wait(self, waits_for: str) -> None:
        if len(self._waiting) >= MOST_WAITING:
            return
        team, _slash, document = waits_for.partition("/")
        ready: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self._waiting[ready] = (UUID(team), UUID(document))
        if self._watch is None or self._watch.done():
            self._watch = asyncio.create_task(self._look())
        try:
            await asyncio.wait([ready], timeout=WAIT_S)
        finally:
            del self._waiting[ready]

    async def _look(self) -> None:
        """Look for finished documents and wake the requests that wait for them, until none waits."""
        loop = asyncio.get_running_loop()
        while self._waiting:
            await asyncio.sleep(_LOOK_EVERY_S)
            documents = set(self._waiting.values())
            try:
                finished = await loop.run_in_executor(self._thread, _finished, documents)
            except Exception:  # noqa: BLE001 - a database that is away for a moment: whoever waits gets a 202
                _log.warning("the database did not say which documents are made", exc_info=True)
                continue
            for ready, (_team, document) in self._waiting.items():
                if document in finished and not ready.done():
                    ready.set_result(None)
        await loop.run_in_executor(self._thread, _close_connection)


def _finished(awaited: set[tuple[UUID, UUID]]) -> set[UUID]:
    """Return which of these documents, given with their teams, are made or have failed."""
    close_old_connections()
    return finished_documents({document for _team, document in awaited}, teams={team for team, _document in awaited})


def _close_connection() -> None:
    """Close the connection of this thread; ``connection.close`` would be that of the thread in which it is written."""
    connection.close()


class _HoldingBack:
    """Passes an answer on unless it says that a document is waited for."""

    def __init__(self, send: Send) -> None:
        self._send = send
        self.waits_for: str | None = None

    async def __call__(self, message: SendEvent) -> None:
        if message["type"] == "http.response.start":
            self.waits_for = next((value.decode() for name, value in message["headers"] if name == _HEADER), None)
        if self.waits_for is None:
            await self._send(message)


def _without_header(send: Send) -> Send:
    """Return ``send``, which leaves that header out."""

    async def passed_on(message: SendEvent) -> None:
        if message["type"] == "http.response.start":
            message = {**message, "headers": [pair for pair in message["headers"] if pair[0] != _HEADER]}
        await send(message)

    return passed_on
