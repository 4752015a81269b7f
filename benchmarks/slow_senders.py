"""What 500 strangers who send a byte every ten seconds, and 50 phones on a bad line, cost everyone else.

Run from the repository root: ``python -m benchmarks.slow_senders``. Starts a whole installation of its own. Four
people sync, read a report and ask small things, without the slow ones and with them, in turns. The phones send
photos at 16 KiB/s each. Prints a markdown table; the ratio of the 95th percentiles is the point: at most 1.5 is asked
for. Health is asked for all the while, and the answers that took longest are shown.
"""

import argparse
import asyncio
import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from statistics import median, quantiles
from typing import Any
from urllib.parse import urlsplit

from config.dev.home import ROOT
from table.phone import HttpTransport, MemoryStore, Phone, Response
from table.phone.ids import new_id
from tests.faults.installation import PASSWORD, Installation, started
from tests.faults.machines import Cell
from tests.faults.slow_senders import slow_senders

PEOPLE = 4
BLOCKS = 5
ASKED = 1.5
PHOTO_BYTES, PIECE_BYTES, PHONE_BYTES_PER_S = 8 * 1024 * 1024, 256 * 1024, 16 * 1024
POTS = 6

NO_LIMITS: dict[str, Any] = {
    "LEAFSPAN_REQUESTS_PER_MINUTE": "1000000",
    "LEAFSPAN_QUOTA_UPLOADS": "100000/100000",
    "LEAFSPAN_QUOTA_PHOTO_BYTES": "1000000000000/1000000000000",
}
"""Of a login, or a phone that is answered 429 waits for the rest of the minute, which would count as a slow request."""

Times = dict[str, list[float]]


class NotingTransport(HttpTransport):
    """Counts the answers after which a phone waits and sends again."""

    def __init__(self, url: str) -> None:
        super().__init__(url)
        self.refused: Counter[int] = Counter()

    def send(self, method: str, path: str, *, headers: Mapping[str, str], body: bytes | None) -> Response:
        """Send once."""
        answer = super().send(method, path, headers=headers, body=body)
        if answer.status >= 400:
            self.refused[answer.status] += 1
        return answer


class Person(threading.Thread):
    """Somebody who syncs, reads and asks, for so many seconds; ``times`` holds the seconds of each request by kind."""

    def __init__(self, phone: Phone, *, lot: str, seconds: float) -> None:
        super().__init__()
        self._phone, self._lot, self._ends_at = phone, lot, time.monotonic() + seconds
        self.times: Times = defaultdict(list)

    def run(self) -> None:
        """Use Leafspan like a person in a hurry."""
        while time.monotonic() < self._ends_at:
            self._phone.edit("lot", self._lot, {"remarks": f"{time.monotonic():.3f}"})
            self._time("a sync", self._phone.sync)
            self._time("who am I", lambda: self._phone.request("GET", "/api/v1/me"))
            self._time("figures of a lot", lambda: self._phone.request("GET", f"/api/v1/lots/{self._lot}/development"))
            self._time("health", lambda: self._phone.request("GET", "/health/live"))
            time.sleep(0.1)

    def _time(self, kind: str, ask: Callable[[], object]) -> None:
        began = time.perf_counter()
        ask()
        self.times[kind].append(time.perf_counter() - began)


class SlowPhones:
    """Phones that send photos of their lot over a slow line, one after the other."""

    def __init__(self, url: str, *, token: str, lot: str) -> None:
        parts = urlsplit(url)
        self._place, self._token, self._lot = (str(parts.hostname), int(parts.port or 80)), token, lot
        self.pieces, self.failed = 0, Counter[str]()

    async def run(self, number: int) -> None:
        """Send until cancelled."""
        async with asyncio.TaskGroup() as tasks:
            for _ in range(number):
                tasks.create_task(self._send_photos())

    async def _send_photos(self) -> None:
        while True:
            try:
                await self._send_photo()
            except (OSError, asyncio.IncompleteReadError) as error:
                self.failed[str(error)] += 1
                await asyncio.sleep(1.0)

    async def _send_photo(self) -> None:
        """Announce a photo and send its pieces; it is not the bytes of a picture, but nobody looks before the last."""
        reader, writer = await asyncio.open_connection(*self._place)
        try:
            now = datetime.now(UTC)
            photo = {
                "id": new_id(now), "lot": self._lot, "of": "dry_leaf", "sha256": os.urandom(32).hex(),
                "bytes": PHOTO_BYTES, "taken_at": now.isoformat(timespec="milliseconds"),
            }  # fmt: skip
            head = f"Host: localhost\r\nAuthorization: Bearer {self._token}\r\n"
            body = json.dumps(photo).encode()
            json_head = f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n"
            writer.write(f"POST /api/v1/photos/ HTTP/1.1\r\n{head}{json_head}".encode() + body)
            await self._read_answer(reader)
            for offset in range(0, PHOTO_BYTES, PIECE_BYTES):
                piece_head = (
                    f"Content-Type: application/octet-stream\r\nUpload-Offset: {offset}\r\n"
                    f"Content-Length: {PIECE_BYTES}\r\n\r\n"
                )
                writer.write(f"PUT /api/v1/photos/{photo['id']}/content HTTP/1.1\r\n{head}{piece_head}".encode())
                for _ in range(PIECE_BYTES * 4 // PHONE_BYTES_PER_S):
                    writer.write(os.urandom(PHONE_BYTES_PER_S // 4))
                    await asyncio.sleep(0.25)
                await self._read_answer(reader)
                self.pieces += 1
        finally:
            writer.close()

    async def _read_answer(self, reader: asyncio.StreamReader) -> None:
        head = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1").lower()
        length = next(line for line in head.split("\r\n") if line.startswith("content-length:"))
        body = await reader.readexactly(int(length.partition(":")[2]))
        if not head.split(" ")[1].startswith("2"):
            raise OSError(body[:300].decode())


@contextmanager
def slow_phones(url: str, number: int, *, token: str, lot: str) -> Iterator[None]:
    """Have so many slow phones, in a process of their own."""
    command = [sys.executable, "-m", "benchmarks.slow_senders", "--only-phones", json.dumps([url, number, token, lot])]
    process = subprocess.Popen(command, stdin=subprocess.PIPE, cwd=ROOT)
    try:
        yield
    finally:
        process.communicate(timeout=60)


async def _only_phones(url: str, number: int, token: str, lot: str) -> None:
    phones = SlowPhones(url, token=token, lot=lot)
    sending = asyncio.create_task(phones.run(number))
    await asyncio.to_thread(sys.stdin.read)
    sending.cancel()
    await asyncio.gather(sending, return_exceptions=True)
    failed = dict(phones.failed) or "none"
    print(f"  slow phones: {phones.pieces} pieces sent, failed: {failed}", file=sys.stderr, flush=True)


def _use(phones: list[tuple[Phone, str]], *, seconds: float, into: Times) -> None:
    """Have everybody use Leafspan for so long; add their times."""
    people = [Person(phone, lot=lot, seconds=seconds) for phone, lot in phones]
    for person in people:
        person.start()
    for person in people:
        person.join()
        for kind, times in person.times.items():
            into[kind] += times


def _people(place: Installation) -> tuple[list[tuple[Phone, str]], str, list[NotingTransport]]:
    """Return phones with a lot of their own, tasted; the token of another member; and the phones' transports."""
    phones: list[tuple[Phone, str]] = []
    transports: list[NotingTransport] = []
    team = ""
    for i in range(PEOPLE):
        team = place.manage("new_team", "--name", f"Bench {i}", "--shop", "Bench", "--username", f"bench{i}")["team"]
        transports.append(NotingTransport(place.url))
        phone = Phone(transports[-1], store=MemoryStore())
        phone.sign_in(username=f"bench{i}", password=PASSWORD)
        lot = phone.create("lot", {"name": "Bench", "kind": "oolong"})
        for _ in range(POTS):
            pot = {"lot": lot, "started_at": "2026-03-04T12:00:00Z", "leaf_g": 5, "vessel_ml": 110}
            session = phone.create("session", pot)
            for number in range(1, 7):
                pour = {"session": session, "number": number, "steep_s": 10 + 5 * number, "kettle_c": 97}
                infusion = phone.create("infusion", pour)
                rating = {"moment": "mouth", "descriptor": "strength", "intensity": 8 - number}
                phone.create("note", {"session": session, "infusion": infusion, **rating})
        phone.sync()
        phones.append((phone, lot))
    # a login of their own: a login's requests wait for each other, so the phones of one would delay it by design
    place.manage("new_member", "--team", team, "--shop", "Bench", "--username", "slow", "--role", "buyer")
    slow = Phone(HttpTransport(place.url), store=MemoryStore())
    return phones, str(slow.sign_in(username="slow", password=PASSWORD)["token"]), transports


def measure(place: Installation, *, senders: int, phones: int, seconds: float) -> float:
    """Print the table; return the ratio of the 95th percentiles over all kinds of requests."""
    people, token, transports = _people(place)
    last_lot = people[-1][1]
    without: Times = defaultdict(list)
    disturbed: Times = defaultdict(list)
    _use(people, seconds=seconds, into=defaultdict(list))  # figures are computed, caches filled
    for block in range(BLOCKS):
        _use(people, seconds=seconds, into=without)
        with slow_senders(place.url, senders), slow_phones(place.url, phones, token=token, lot=last_lot):
            time.sleep(3.0)
            _use(people, seconds=seconds, into=disturbed)
        print(f"  block {block + 1} of {BLOCKS} measured", file=sys.stderr, flush=True)
    print(
        f"| request | n | p95 without | p95 beside {senders} slow senders and {phones} slow phones | ratio | longest |"
    )
    print("| --- | ---: | ---: | ---: | ---: | ---: |")
    together = (
        "all",
        [s for times in without.values() for s in times],
        [s for times in disturbed.values() for s in times],
    )
    ratio = 0.0
    for kind, quiet, busy in (*((kind, without[kind], disturbed[kind]) for kind in without), together):
        p95 = [quantiles(times, n=20)[-1] for times in (quiet, busy)]
        ratio = p95[1] / p95[0]
        print(
            f"| {kind} | {len(busy)} | {1000 * p95[0]:.0f} ms | {1000 * p95[1]:.0f} ms | {ratio:.2f}"
            f" | {1000 * max(busy):.0f} ms |"
        )
    print(f"\nMedian {1000 * median(together[1]):.0f} ms without, {1000 * median(together[2]):.0f} ms with.")
    refused = sum((transport.refused for transport in transports), Counter[int]())
    print(f"Answers after which a person's phone sent again: {dict(refused) or 'none'}.")
    return ratio


def main() -> int:
    """Run it on an installation of its own."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--senders", type=int, default=500)
    parser.add_argument("--phones", type=int, default=50)
    parser.add_argument("--seconds", type=float, default=20.0, help="of each half of a block")
    parser.add_argument("--only-phones", type=json.loads, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.only_phones:
        asyncio.run(_only_phones(*options.only_phones))
        return 0
    with (
        tempfile.TemporaryDirectory(prefix="leafspan-slow-") as folder,
        started(Cell(Path(folder), **NO_LIMITS)) as place,
    ):
        ratio = measure(place, senders=options.senders, phones=options.phones, seconds=options.seconds)
    return 0 if ratio <= ASKED else 1


if __name__ == "__main__":
    sys.exit(main())
