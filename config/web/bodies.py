"""Receives a request's body on the event loop, so that a slow sender occupies no thread.

The limits of time are those that Apache's ``mod_reqtimeout`` has by default (20 s, then at least 500 bytes a second:
https://httpd.apache.org/docs/2.4/mod/mod_reqtimeout.html); the others are our own choice, no source.
"""

import asyncio
from tempfile import SpooledTemporaryFile
from typing import IO

from a2wsgi.asgi_typing import Receive

from config.web.transfers import Limits, Transfer, Transfers

MAX_BODY_BYTES = 4 * 1024 * 1024
"""Twice what any address takes: those answer a smaller excess themselves. [bytes]"""
MEMORY_BYTES = 256 * 1024
"""A larger body is written to a temporary file. [bytes]"""
FREE_PIECES, LEAST_PIECE_BYTES = 4000, 128
"""After so many pieces they must hold so much on average: each one costs processor time on the event loop."""
LIMITS = Limits(
    idle_s=20.0, least_bytes_per_s=500.0, total_s=600.0, most=2000, most_of_client=1000, most_bytes=128 * 1024 * 1024
)


class BodyTooLarge(Exception):  # noqa: N818 - reads as what happened
    """The body is larger than any address takes."""


class PiecesTooSmall(Exception):  # noqa: N818 - reads as what happened
    """The body comes in too many small pieces, such as chunks of one byte."""


class SenderDisconnected(ConnectionError):  # noqa: N818
    """The client left before its body was complete."""


class ReceivedBody:
    """A complete body; the application reads `file`."""

    def __init__(self, transfers: Transfers) -> None:
        self.file: IO[bytes] = SpooledTemporaryFile(MEMORY_BYTES)  # noqa: SIM115 - closed by `close`
        self._transfers = transfers
        self._transfer: Transfer | None = None
        self.size = 0

    async def take(self, receive: Receive, *, client: str, declared: int = 0) -> None:
        """Receive everything; ``declared`` is the size that the client has announced.

        Raise BodyTooLarge above `MAX_BODY_BYTES`; PiecesTooSmall for more than `FREE_PIECES` of less than
        `LEAST_PIECE_BYTES` on average; TimeoutError if the client is too slow or had to make room; Full if there is no
        room; SenderDisconnected if the client left.
        """
        if declared > MAX_BODY_BYTES:
            raise BodyTooLarge
        async with self._transfers.open(client) as self._transfer:
            has_more, n_pieces = True, 0
            while has_more:
                self._transfer.begin_waiting()
                message = await receive()
                if message["type"] != "http.request":
                    raise SenderDisconnected
                piece, has_more = message.get("body", b""), bool(message.get("more_body"))
                if self.size + len(piece) > MAX_BODY_BYTES:
                    raise BodyTooLarge
                n_pieces += bool(piece)
                if n_pieces > FREE_PIECES and self.size + len(piece) < n_pieces * LEAST_PIECE_BYTES:
                    raise PiecesTooSmall
                self._transfers.occupy(self._transfer, len(piece))
                self._transfer.end_waiting(len(piece))
                self.size += len(piece)
                self.file.write(piece)
        self.rewind()

    def rewind(self) -> None:
        """Begin again at the first byte."""
        self.file.seek(0)

    def read(self) -> bytes:
        """Return all of it."""
        self.rewind()
        return self.file.read()

    def close(self) -> None:
        """Give memory and file back."""
        self.file.close()
        if self._transfer is not None:
            self._transfers.release(self._transfer)


async def discard(receive: Receive) -> None:
    """Read on for two seconds, so that the client gets to read why it was refused before the connection is reset."""
    try:
        async with asyncio.timeout(2.0):
            while (message := await receive())["type"] == "http.request" and message.get("more_body"):
                pass
    except TimeoutError:
        return
