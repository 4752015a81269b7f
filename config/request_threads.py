"""Django's threads behind the event loop, freed when the client has disconnected.

a2wsgi hands each piece of an answer to the event loop and has the thread wait until it is taken. Nobody takes it when
the connection is lost, or when the reader stops reading: the thread, one of a few, would wait for ever with whatever it
holds, such as a snapshot of the database. Here it gives up, and the answer is closed like one that was read to its end.
"""

from asyncio import run_coroutine_threadsafe
from concurrent.futures import Future
from threading import Event
from typing import Any

from a2wsgi import WSGIMiddleware
from a2wsgi.wsgi import WSGIResponder

READ_TIMEOUT_S = 120.0
"""After so long without reading, a client counts as disconnected. [s]"""
_LOOK_S = 1.0


class ClientDisconnected(ConnectionError):  # noqa: N818 - reads as what happened
    """The client no longer reads the answer."""


class _Responder(WSGIResponder):
    """Answers one request."""

    def __init__(self, *args: Any, timeout_s: float) -> None:  # noqa: ANN401 - as the library has it
        super().__init__(*args)
        self._disconnected, self._timeout_s = Event(), timeout_s

    async def __call__(self, *args: Any) -> None:  # noqa: ANN401
        """Answer; end silently when the client has disconnected."""
        try:
            await super().__call__(*args)
        except ClientDisconnected:
            return
        finally:
            self._disconnected.set()

    async def sender(self, *args: Any) -> None:  # noqa: ANN401
        """Pass pieces on as they come."""
        try:
            await super().sender(*args)
        finally:
            self._disconnected.set()

    def send(self, message: Any) -> None:  # noqa: ANN401 - one of ASGI's messages, or None at the end
        """Hand over a piece, in the thread; raise ClientDisconnected when it is not taken."""
        taken: Future[None] = run_coroutine_threadsafe(self.send_queue.put(message), self.loop)
        waited = 0.0
        while True:
            try:
                return taken.result(timeout=min(_LOOK_S, self._timeout_s))
            except TimeoutError:
                waited += min(_LOOK_S, self._timeout_s)
                if self._disconnected.is_set() or waited >= self._timeout_s:
                    taken.cancel()
                    raise ClientDisconnected from None


class Threaded(WSGIMiddleware):
    """Serves a WSGI application on a few threads; ``timeout_s`` as in `READ_TIMEOUT_S`."""

    def __init__(self, app: Any, *, workers: int, timeout_s: float = READ_TIMEOUT_S) -> None:  # noqa: ANN401
        super().__init__(app, workers=workers)
        self._timeout_s = timeout_s

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:  # noqa: ANN401
        """Serve one connection."""
        if scope["type"] != "http":
            await super().__call__(scope, receive, send)
            return
        responder = _Responder(self.app, self.executor, self.send_queue_size, timeout_s=self._timeout_s)
        await responder(scope, receive, send)
