"""Django's threads behind the event loop, freed when who asked is gone.

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

PATIENCE_S = 120.0
"""So long a reader may take nothing of an answer that is under way."""
_LOOK_S = 1.0


class ReaderGone(ConnectionError):  # noqa: N818 - reads as what happened
    """Nobody reads the answer any more."""


class _Responder(WSGIResponder):
    """Answers one request."""

    def __init__(self, *args: Any, patience_s: float) -> None:  # noqa: ANN401 - as the library has it
        super().__init__(*args)
        self._gone, self._patience_s = Event(), patience_s

    async def __call__(self, *args: Any) -> None:  # noqa: ANN401
        """Answer; end without a word when nobody listens."""
        try:
            await super().__call__(*args)
        except ReaderGone:
            return
        finally:
            self._gone.set()

    async def sender(self, *args: Any) -> None:  # noqa: ANN401
        """Pass pieces on as they come."""
        try:
            await super().sender(*args)
        finally:
            self._gone.set()

    def send(self, message: Any) -> None:  # noqa: ANN401 - one of ASGI's messages, or None at the end
        """Hand over a piece, in the thread; raise ReaderGone when it is not taken."""
        taken: Future[None] = run_coroutine_threadsafe(self.send_queue.put(message), self.loop)
        waited = 0.0
        while True:
            try:
                return taken.result(timeout=min(_LOOK_S, self._patience_s))
            except TimeoutError:
                waited += min(_LOOK_S, self._patience_s)
                if self._gone.is_set() or waited >= self._patience_s:
                    taken.cancel()
                    raise ReaderGone from None


class Threaded(WSGIMiddleware):
    """Serves a WSGI application on a few threads; ``patience_s`` as in `PATIENCE_S`."""

    def __init__(self, app: Any, *, workers: int, patience_s: float = PATIENCE_S) -> None:  # noqa: ANN401
        super().__init__(app, workers=workers)
        self._patience_s = patience_s

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:  # noqa: ANN401
        """Serve one connection."""
        if scope["type"] != "http":
            await super().__call__(scope, receive, send)
            return
        responder = _Responder(self.app, self.executor, self.send_queue_size, patience_s=self._patience_s)
        await responder(scope, receive, send)
