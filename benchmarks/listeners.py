"""What 500 idle listeners of the live table cost, and how soon all of them receive a change.

Run from the repository root: ``python -m benchmarks.listeners``. Starts a whole installation of its own, opens the
streams of one team's phones, and asks for a small answer over and over with nobody listening and with everybody, in
turns. Then a change is synced, and each stream is timed from the answer of that sync to its event. Prints a markdown
table; the ratio is the point.
"""

import argparse
import asyncio
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median, quantiles
from urllib.parse import urlsplit

from table.phone import HttpTransport, MemoryStore, Phone
from tests.faults.installation import PASSWORD, Installation, installation

N_REQUESTS = 150
"""Requests in each block of rounds."""
BLOCKS = 3


class Stream:
    """One open stream; ``received_at`` gets the moment of each event. [s, of the monotonic clock]."""

    def __init__(self, host: str, port: int, *, token: str) -> None:
        self._place, self._token = (host, port), token
        self.received_at: list[float] = []
        self._writer: asyncio.StreamWriter | None = None

    async def open(self) -> None:
        """Connect and read the answer's head."""
        reader, self._writer = await asyncio.open_connection(*self._place)
        self._writer.write(
            f"GET /api/v1/events HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer {self._token}\r\n\r\n".encode()
        )
        head = await reader.readuntil(b"\r\n\r\n")
        if b" 200 " not in head.split(b"\r\n")[0]:
            raise RuntimeError(head.decode(errors="replace"))
        self._reading = asyncio.create_task(self._read(reader))

    async def _read(self, reader: asyncio.StreamReader) -> None:
        while line := await reader.readline():
            if b"event: changed" in line:
                self.received_at.append(time.monotonic())

    def close(self) -> None:
        """Hang up."""
        self._reading.cancel()
        if self._writer is not None:
            self._writer.close()


def _times(ask: Callable[[], object]) -> list[float]:
    times = []
    for _ in range(N_REQUESTS):
        begun = time.perf_counter()
        ask()
        times.append(time.perf_counter() - begun)
    return times


async def _measure(place: Installation, listeners: int) -> None:
    phone = Phone(HttpTransport(place.url), store=MemoryStore())
    token = str((await asyncio.to_thread(phone.sign_in, username="bench", password=PASSWORD))["token"])
    host, port = str(urlsplit(place.url).hostname), int(urlsplit(place.url).port or 80)
    quiet: list[float] = []
    busy: list[float] = []
    delays_s: list[float] = []
    for block in range(BLOCKS):
        quiet += await asyncio.to_thread(_times, lambda: phone.request("GET", "/api/v1/me"))
        streams = [Stream(host, port, token=token) for _ in range(listeners)]
        for first in range(0, listeners, 50):
            await asyncio.gather(*(stream.open() for stream in streams[first : first + 50]))
        busy += await asyncio.to_thread(_times, lambda: phone.request("GET", "/api/v1/me"))
        phone.create("lot", {"name": f"Bench {block}", "kind": "green"})
        await asyncio.to_thread(phone.sync)
        answered = time.monotonic()
        deadline = answered + 10
        while any(not stream.received_at for stream in streams) and time.monotonic() < deadline:
            await asyncio.sleep(0.02)
        if deaf := sum(not stream.received_at for stream in streams):
            raise RuntimeError(f"{deaf} of {listeners} streams heard nothing within 10 s")
        delays_s += [stream.received_at[0] - answered for stream in streams]
        for stream in streams:
            stream.close()
        await asyncio.sleep(1.0)
        print(f"  block {block + 1} of {BLOCKS} measured", file=sys.stderr, flush=True)
    print("| what | median | 95th percentile | to nobody listening |\n| --- | ---: | ---: | ---: |")
    for name, times in (("a small request, nobody listening", quiet), (f"the same, {listeners} listening", busy)):
        ratio = f"{median(times) / median(quiet):.2f}"
        print(f"| {name} | {1000 * median(times):.1f} ms | {1000 * quantiles(times, n=20)[-1]:.1f} ms | {ratio} |")
    print(
        f"| a change, until a stream hears of it | {median(delays_s):.2f} s | {quantiles(delays_s, n=20)[-1]:.2f} s | |"
    )


def main() -> int:
    """Run it on an installation of its own."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--listeners", type=int, default=500)
    listeners = parser.parse_args().listeners
    with tempfile.TemporaryDirectory(prefix="leafspan-listeners-") as folder, installation(Path(folder)) as place:
        place.manage("new_team", "--name", "Bench", "--shop", "Bench", "--username", "bench")
        asyncio.run(_measure(place, listeners))
    return 0


if __name__ == "__main__":
    sys.exit(main())
