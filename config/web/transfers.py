"""Bodies that are being received, or answers that are being read, by all clients of one process.

Each has limits of time; together they have limits of number and of bytes. Where these are reached, the slowest of the
client that opened most, or of all, is cut off: somebody on a bad line is still quicker than one who is slow on purpose.
"""

import asyncio
from collections import Counter
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Limits of one transfer and of all together."""

    idle_s: float
    """Longest time without a byte. [s]"""
    least_bytes_per_s: float
    """Mean rate that is asked for, once `idle_s` have passed. [bytes/s]"""
    total_s: float
    """Longest time for the whole. [s]"""
    most: int
    most_of_client: int
    most_bytes: int
    """What all transfers together may occupy. [bytes]"""


class Full(Exception):  # noqa: N818 - reads as what happened
    """There is no room for more bytes, and no slow transfer that could be cut off."""


@dataclass(eq=False, slots=True)
class Transfer:
    """One body or answer on its way."""

    client: str
    limits: Limits
    timeout: asyncio.Timeout
    moved: int = 0
    """Bytes that have come or gone."""
    occupied: int = 0
    """Bytes in memory or in a temporary file."""
    is_cut_off: bool = False
    _waited_s: float = 0.0
    _waits_since: float | None = None

    def begin_waiting(self) -> None:
        """Wait for the client from now on; raise TimeoutError if this was cut off."""
        if self.is_cut_off or self.timeout.expired():  # a wait inside may have swallowed the cancellation
            raise TimeoutError
        limits = self.limits
        by_rate_s = limits.idle_s + self.moved / limits.least_bytes_per_s - self._waited_s
        left_s = min(limits.idle_s, limits.total_s - self._waited_s, by_rate_s)
        self._waits_since = asyncio.get_running_loop().time()
        self.timeout.reschedule(self._waits_since + left_s)

    def end_waiting(self, n_bytes: int) -> None:
        """Note that so many bytes have moved; the client is not waited for until `begin_waiting`."""
        self._waited_s, self._waits_since = self.waited_s, None
        self.moved += n_bytes
        if not self.is_cut_off and not self.timeout.expired():
            self.timeout.reschedule(None)

    @property
    def waited_s(self) -> float:
        """How long the client has been waited for, in seconds."""
        since = self._waits_since
        return self._waited_s + (asyncio.get_running_loop().time() - since if since is not None else 0.0)

    @property
    def rate(self) -> float:
        """Bytes per second of waiting; one that has just begun counts as quick."""
        return (self.moved + 1) / max(self.waited_s - 1, 0.001)

    def cut_off(self) -> None:
        """End it: its task gets a TimeoutError."""
        self.is_cut_off = True
        if not self.timeout.expired():
            self.timeout.reschedule(0)


class Transfers:
    """All transfers of one kind in one process."""

    def __init__(self, limits: Limits) -> None:
        self.limits = limits
        self.occupied = 0
        self._open: set[Transfer] = set()
        self._of_client: Counter[str] = Counter()

    @asynccontextmanager
    async def open(self, client: str) -> AsyncIterator[Transfer]:
        """Begin a transfer of a client; TimeoutError is raised inside when it is too slow or cut off.

        What it occupies counts until `release`.
        """
        if self._of_client[client] >= self.limits.most_of_client:
            self._cut_off_slowest(lambda transfer: transfer.client == client)
        elif len(self._open) >= self.limits.most:
            self._cut_off_slowest(lambda _one: True)
        async with asyncio.timeout(None) as timeout:
            transfer = Transfer(client, self.limits, timeout)
            self._open.add(transfer)
            self._of_client[client] += 1
            try:
                yield transfer
            finally:
                self._open.discard(transfer)
                self._of_client[client] -= 1
                if not self._of_client[client]:
                    del self._of_client[client]

    def occupy(self, transfer: Transfer, n_bytes: int) -> None:
        """Count bytes that a transfer occupies from now on; raise Full when there is no room to be made."""
        while self.occupied + n_bytes > self.limits.most_bytes:
            if not self._cut_off_slowest(lambda other: other.occupied > 0 and other is not transfer):
                raise Full
        transfer.occupied += n_bytes
        self.occupied += n_bytes

    def release(self, transfer: Transfer, n_bytes: int | None = None) -> None:
        """Count bytes of a transfer, or all, as gone."""
        gone = transfer.occupied if n_bytes is None else min(n_bytes, transfer.occupied)
        transfer.occupied -= gone
        self.occupied -= gone

    def _cut_off_slowest(self, eligible: Callable[[Transfer], bool]) -> bool:
        """Cut off the slowest of the eligible and count what it occupied as gone; False if there is none."""
        slow = min(
            (item for item in self._open if not item.is_cut_off and eligible(item)),
            key=lambda item: item.rate,
            default=None,
        )
        if slow is None:
            return False
        slow.cut_off()
        self.release(slow)
        return True
