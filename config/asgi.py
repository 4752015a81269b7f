"""Web entry: live events on the event loop, everything else on a few threads."""

from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

from config.request_threads import Threaded
from config.wsgi import application as pages_and_api  # sets Django up, so it comes first

from api.operations.events import PATH, EventStreams  # isort: skip

THREADS = 4
"""Requests served at a time by one process."""

_threaded = Threaded(pages_and_api, workers=THREADS)
_live = EventStreams()


async def application(
    scope: MutableMapping[str, Any],
    receive: Callable[[], Awaitable[MutableMapping[str, Any]]],
    send: Callable[[MutableMapping[str, Any]], Awaitable[None]],
) -> None:
    """Serve one request."""
    if scope["type"] == "http" and scope["path"].removesuffix("/") == PATH:
        await _live(scope, receive, send)
    else:
        await _threaded(scope, receive, send)
