"""Django's threads behind the event loop, which neither slow readers nor lost connections hold on to.

A thread hands the pieces of an answer to the event loop and goes on; only when `AHEAD_BYTES` of one answer wait for
its reader does it wait too, as in an export, which holds a snapshot of the database meanwhile. When the reader
disconnects or is too slow, the thread gives up, and the answer is closed like one that was read to its end.
"""

import asyncio
from collections.abc import Callable, Iterable
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from threading import Condition
from typing import IO, cast

from a2wsgi import WSGIMiddleware
from a2wsgi.asgi_typing import HTTPRequestEvent, HTTPScope, Receive, Send, SendEvent
from a2wsgi.wsgi import WSGIResponder
from a2wsgi.wsgi_typing import Environ, StartResponse

from config.web.stack import reserve_stack
from config.web.transfers import Full, Limits, Transfer, Transfers

AHEAD_BYTES = 4 * 1024 * 1024
"""More bytes than any answer has, except exports."""
READERS = Limits(
    idle_s=60.0, least_bytes_per_s=500.0, total_s=3600.0, most=4000, most_of_client=400, most_bytes=128 * 1024 * 1024
)
"""``idle_s`` is the time for one piece of 64 KiB."""
_PIECE_BYTES = 64 * 1024
_GIVE_WAY_S = 0.005
"""How long a thread waits for the end of an answer to be passed on. [s]

What it does afterwards, such as to send jobs, would keep the interpreter from the event loop for as long.
"""


class ReaderDisconnected(ConnectionError):  # noqa: N818 - reads as what happened
    """The client no longer reads the answer."""


class _OneCall:
    """An executor that remembers its call, which goes on when the task that waits for it is cancelled."""

    def __init__(self, executor: Executor) -> None:
        self._executor = executor
        self.call: Future[None] | None = None

    def submit(self, function: Callable[..., None], *arguments: object) -> Future[None]:
        """Begin the call."""
        self.call = self._executor.submit(function, *arguments)
        return self.call


class _Responder(WSGIResponder):
    """Answers one request."""

    def __init__(
        self, served_by: WSGIMiddleware, *, body: IO[bytes], readers: Transfers, client: str, ahead_bytes: int
    ) -> None:
        super().__init__(served_by.app, served_by.executor, served_by.send_queue_size)
        self._body = body
        self._thread = _OneCall(self.executor)
        self.executor = cast("ThreadPoolExecutor", self._thread)  # the event loop only submits to it
        self.send_queue = asyncio.Queue()  # bounded by bytes, in `send`
        self._readers, self._client, self._most_ahead = readers, client, ahead_bytes
        self._reader: Transfer | None = None
        self._changed = Condition()
        self._ahead = 0
        self._has_ended = False

    async def __call__(self, scope: HTTPScope, receive: Receive, send: Send) -> None:
        """Answer; end silently when the client has disconnected, and not before the thread is free."""
        try:
            await super().__call__(scope, receive, send)
        except ReaderDisconnected:
            return
        finally:
            self._end()
            if self._thread.call is not None and not self._thread.call.done():
                await asyncio.wait([asyncio.wrap_future(self._thread.call)])

    def wsgi(self, environ: Environ, start_response: StartResponse) -> None:
        """Answer, in the thread; the body is all there, so the event loop need not be asked for its pieces."""
        environ["wsgi.input"] = self._body
        super().wsgi(environ, start_response)

    async def sender(self, send: Send) -> None:
        """Pass pieces on as the client reads them."""
        try:
            async with self._readers.open(self._client) as self._reader:
                while (message := await self.send_queue.get()) is not None:
                    await self._pass_on(message, send, self._reader)
        except OSError:
            return  # disconnected or too slow; the server closes a connection whose answer is not complete
        finally:
            self._end()
            if self._reader is not None:
                self._readers.release(self._reader)

    async def _pass_on(self, message: SendEvent, send: Send, reader: Transfer) -> None:
        """Send one piece in smaller ones, each as soon as the client has read what went before."""
        body = _body_of(message)
        for start in range(0, max(len(body), 1), _PIECE_BYTES):
            piece = body[start : start + _PIECE_BYTES]
            has_more = not _is_last(message) or start + _PIECE_BYTES < len(body)
            reader.begin_waiting()
            if len(body) <= _PIECE_BYTES:
                await send(message)
            else:
                await send({"type": "http.response.body", "body": piece, "more_body": has_more})
            reader.end_waiting(len(piece))
            self._readers.release(reader, len(piece))
        with self._changed:
            self._ahead -= len(body)
            self._has_ended |= _is_last(message)
            self._changed.notify()

    def _end(self) -> None:
        with self._changed:
            self._has_ended = True
            self._changed.notify()

    def send(self, message: SendEvent | None) -> None:
        """Hand over a piece, in the thread; raise ReaderDisconnected when nobody takes it."""
        with self._changed:
            self._changed.wait_for(lambda: self._ahead < self._most_ahead or self._has_ended)
            if self._has_ended:
                raise ReaderDisconnected
            self._ahead += len(_body_of(message))
        self.loop.call_soon_threadsafe(self._queue, message)
        if _is_last(message):
            with self._changed:
                self._changed.wait_for(lambda: self._has_ended, timeout=_GIVE_WAY_S)

    def _queue(self, message: SendEvent | None) -> None:
        """Take a piece, on the event loop."""
        if self._reader is not None:
            try:
                self._readers.occupy(self._reader, len(_body_of(message)))
            except Full:
                self._reader.cut_off()
                return
        self.send_queue.put_nowait(message)


def _body_of(message: SendEvent | None) -> bytes:
    return message.get("body", b"") if message is not None and message["type"] == "http.response.body" else b""


def _is_last(message: SendEvent | None) -> bool:
    """Whether an answer ends with this piece."""
    return message is not None and message["type"] == "http.response.body" and not message.get("more_body")


async def _end_of_body() -> HTTPRequestEvent:
    """Receive nothing more: the application reads the body from its file."""
    return {"type": "http.request", "body": b""}


class Threaded(WSGIMiddleware):
    """Serves a WSGI application on a few threads."""

    def __init__(
        self,
        app: Callable[..., Iterable[bytes]],  # what WSGI hands over, Django and a2wsgi type differently
        *,
        workers: int,
        limits: Limits = READERS,
        ahead_bytes: int = AHEAD_BYTES,
    ) -> None:
        super().__init__(reserve_stack(app), workers=workers)
        self._readers, self._ahead_bytes = Transfers(limits), ahead_bytes

    async def serve(self, scope: HTTPScope, body: IO[bytes], send: Send, *, client: str) -> None:
        """Serve one request of a client, whose body is complete."""
        responder = _Responder(self, body=body, readers=self._readers, client=client, ahead_bytes=self._ahead_bytes)
        await responder(scope, _end_of_body, send)
