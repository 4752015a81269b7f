"""Whose request gets one of the few threads next. Waiting for a thread happens on the event loop and takes none.

A client that sends many requests at once gets a share of the threads, the others go past it. Large requests, such as
the pages of a phone's first load, have a share of their own, so that small ones never wait behind many new phones.
"""

import asyncio
from collections import Counter
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass


class Busy(Exception):  # noqa: N818 - reads as what happened
    """Too many requests wait already, or this one has waited too long."""


@dataclass(eq=False, slots=True)
class _Waiting:
    """A request that waits for a thread."""

    client: str
    is_large: bool
    turn: asyncio.Future[None]


class Turns:
    """The turns of one process's threads."""

    def __init__(  # noqa: PLR0913 - the limits, one by one
        self, threads: int, *, of_client: int, large: int, most_waiting: int, most_waiting_of_client: int, wait_s: float
    ) -> None:
        self._free, self._of_client, self._large_free = threads, of_client, large
        self._most_waiting, self._most_waiting_of_client, self._wait_s = most_waiting, most_waiting_of_client, wait_s
        self._running: Counter[str] = Counter()
        self._waiting: list[_Waiting] = []

    @asynccontextmanager
    async def turn(self, client: str, *, is_large: bool) -> AsyncIterator[None]:
        """Wait for a thread and occupy it; raise Busy when there are too many before this one."""
        n_of_client = sum(request.client == client for request in self._waiting)
        if len(self._waiting) >= self._most_waiting or n_of_client >= self._most_waiting_of_client:
            raise Busy
        waiting = _Waiting(client, is_large, asyncio.get_running_loop().create_future())
        self._waiting.append(waiting)
        self._give()
        try:
            async with asyncio.timeout(self._wait_s):
                await waiting.turn
        except TimeoutError as error:
            self._leave(waiting)
            raise Busy from error
        except asyncio.CancelledError:
            self._leave(waiting)
            raise
        try:
            yield
        finally:
            self._take_back(waiting)

    def _give(self) -> None:
        """Give free threads to those who may have one: first to the clients with the fewest, then as they came."""
        while self._free:
            chosen = min(
                (request for request in self._waiting if self._may_run(request)),
                key=lambda request: self._running[request.client],
                default=None,
            )
            if chosen is None:
                return
            self._waiting.remove(chosen)
            self._free -= 1
            self._large_free -= chosen.is_large
            self._running[chosen.client] += 1
            chosen.turn.set_result(None)

    def _may_run(self, request: _Waiting) -> bool:
        has_share = self._running[request.client] < self._of_client
        return has_share and (not request.is_large or self._large_free > 0) and not request.turn.done()

    def _leave(self, waiting: _Waiting) -> None:
        """Stop waiting; a thread that was given in the same moment goes to the next."""
        if waiting in self._waiting:
            self._waiting.remove(waiting)
        else:
            self._take_back(waiting)

    def _take_back(self, waiting: _Waiting) -> None:
        self._free += 1
        self._large_free += waiting.is_large
        self._running[waiting.client] -= 1
        if not self._running[waiting.client]:
            del self._running[waiting.client]
        self._give()
