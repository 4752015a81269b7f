"""Connections of one process: a time for the head of a request, and room for newcomers.

The server itself waits for the head of a first request for ever, has no limit of connections, and closes one only
after its reader has read everything.
"""

import resource
from asyncio import BaseTransport, TimerHandle

from gunicorn.asgi.protocol import ASGIProtocol  # type: ignore[import-untyped]  # it has no types
from gunicorn.workers import gasgi  # type: ignore[import-untyped]

HEAD_S = 20.0
"""Time for the head of a connection's first request; those that follow have the time of keep-alive. [s]"""
KEEP_ALIVE_S = 75
"""How long a connection stays open between requests: a person's next tap needs no new one. [s]"""
LINGER_S = 10.0
"""Time for the reader of the last bytes when a connection is closed. [s]"""
OTHER_FILES = 800
"""Files that a process may open beside its connections: bodies, databases, photos, logs."""
_WANTED_FILES = 8192


class Connection(ASGIProtocol):  # type: ignore[misc]  # no types
    """One connection."""

    _head_timer: TimerHandle | None = None

    def connection_made(self, transport: BaseTransport) -> None:
        """Begin to wait for the head."""
        super().connection_made(transport)
        self._head_timer = self.worker.loop.call_later(HEAD_S, self._give_up_on_head)
        self.worker.add(self)

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the connection."""
        self._stop_head_timer()
        self.worker.connections.pop(self, None)
        super().connection_lost(exc)

    @property
    def is_idle(self) -> bool:
        """Whether no request is being served."""
        return self._current_request is None and not self._finishing_calls

    def close(self) -> None:
        """Close at once, whatever has not been read."""
        self._close_transport()
        if self._request_ready is not None:
            self._request_ready.set()  # wakes the task that waits for a request
        if self.transport is not None:
            self.transport.abort()

    def _on_headers_complete(self) -> object:
        self._stop_head_timer()
        return super()._on_headers_complete()

    def _stop_head_timer(self) -> None:
        if self._head_timer is not None:
            self._head_timer.cancel()
            self._head_timer = None

    def _give_up_on_head(self) -> None:
        self._send_error_response(408, "the head of the request came too slowly")
        self._close_transport()
        self._request_ready.set()

    def _close_transport(self) -> None:
        super()._close_transport()
        if self.transport is not None:
            self.worker.loop.call_later(LINGER_S, self.transport.abort)


class Worker(gasgi.ASGIWorker):  # type: ignore[misc]  # no types
    """One process."""

    worker_connections: int

    def __init__(self, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)
        self.connections: dict[Connection, None] = {}
        """In the order in which they were opened."""

    def init_process(self) -> None:
        """Allow as many open files as connections need, and serve connections of our kind."""
        _soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
        files = _WANTED_FILES if hard == resource.RLIM_INFINITY else min(_WANTED_FILES, hard)
        resource.setrlimit(resource.RLIMIT_NOFILE, (files, hard))
        self.worker_connections = min(self.worker_connections, max(files - OTHER_FILES, files // 2))
        gasgi.ASGIProtocol = Connection  # the class that the worker makes one of for each connection
        super().init_process()

    def add(self, connection: Connection) -> None:
        """Count a new connection; while there are too many, the oldest idle one makes room for it."""
        self.connections[connection] = None
        while len(self.connections) > self.worker_connections:
            oldest = next(peer for peer in self.connections if peer.is_idle)  # at the latest the new one
            del self.connections[oldest]
            oldest.close()

    async def _shutdown(self) -> None:
        """Close what is idle, or each browser's kept connection would delay the end."""
        for server in self.servers:
            server.close()
        for connection in [peer for peer in self.connections if peer.is_idle]:
            connection.close()
        await super()._shutdown()
