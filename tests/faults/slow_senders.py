"""Strangers who send requests a byte at a time, and begin anew when they are cut off.

``python -m tests.faults.slow_senders URL NUMBER`` does so until its input ends; then it prints what became of them.
"""

import asyncio
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from urllib.parse import urlsplit

from config.dev.home import ROOT

BYTE_EVERY_S = 10.0
SLOW_HEADS = 10
"""One of so many sends even the head of its request slowly."""
_BODY = (
    b"POST /api/v1/auth/tokens HTTP/1.1\r\nHost: localhost\r\n"
    b"Content-Type: application/json\r\nContent-Length: 1000000\r\n\r\n{"
)
_HEAD = b"GET /api/v1/me HTTP/1.1\r\nHost: localhost\r\nX-Slow: "


class SlowSenders:
    """So many connections to a server; ``cut_off`` counts what ended them, ``refused`` failures to connect."""

    def __init__(self, url: str, number: int) -> None:
        parts = urlsplit(url)
        self._place, self._number = (str(parts.hostname), int(parts.port or 80)), number
        self.cut_off: Counter[str] = Counter()
        self.refused = 0
        self.sending = 0

    async def run(self) -> None:
        """Send until cancelled."""
        async with asyncio.TaskGroup() as tasks:
            for i in range(self._number):
                tasks.create_task(self._send_again_and_again(_HEAD if i % SLOW_HEADS == 0 else _BODY))

    async def _send_again_and_again(self, begin: bytes) -> None:
        while True:
            try:
                reader, writer = await asyncio.open_connection(*self._place)
            except OSError:
                self.refused += 1
                await asyncio.sleep(1.0)
                continue
            self.sending += 1
            try:
                self.cut_off[await self._send(begin, reader, writer)] += 1
            finally:
                self.sending -= 1
                writer.close()

    async def _send(self, begin: bytes, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> str:
        """Send until the server says something or closes; return its status."""
        writer.write(begin)
        answer = asyncio.create_task(reader.readline())
        try:
            while not answer.done():
                await asyncio.wait([answer], timeout=BYTE_EVERY_S)
                writer.write(b" ")
            return " ".join((await answer).decode("latin-1").split(" ")[1:2]) or "closed"
        except OSError:
            return "closed"
        finally:
            answer.cancel()


async def _until_input_ends(url: str, number: int) -> SlowSenders:
    senders = SlowSenders(url, number)
    sending = asyncio.create_task(senders.run())
    await asyncio.to_thread(sys.stdin.read)
    sending.cancel()
    await asyncio.gather(sending, return_exceptions=True)
    return senders


@contextmanager
def slow_senders(url: str, number: int) -> Iterator[None]:
    """Have so many slow senders, in a process of their own."""
    command = [sys.executable, "-m", "tests.faults.slow_senders", url, str(number)]
    process = subprocess.Popen(command, stdin=subprocess.PIPE, cwd=ROOT)
    try:
        yield
    finally:
        process.communicate(timeout=60)


if __name__ == "__main__":
    done = asyncio.run(_until_input_ends(sys.argv[1], int(sys.argv[2])))
    ended = ", ".join(f"{n} by {status}" for status, n in done.cut_off.most_common()) or "none"
    sys.stderr.write(f"  slow senders cut off: {ended}; {done.refused} could not connect\n")
