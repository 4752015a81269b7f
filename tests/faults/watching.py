"""Tasters whose phones send each request to one of two web servers and compare every answer with those before."""

import gzip
import json
import random
import time
from collections import Counter
from collections.abc import Mapping
from contextlib import suppress
from typing import Any

from table.phone import Response, UnreachableError
from tests.faults.tasters import CountingTransport, SimulatedTaster, json_of

SYNC = "/api/v1/sync"


class EitherServer(CountingTransport):
    """Sends each request to one of two servers and compares each answer with those before."""

    def __init__(self, urls: tuple[str, str], rng: random.Random) -> None:
        super().__init__(urls[0])
        self._other, self._rng = CountingTransport(urls[1]), rng
        self.cursor = 0
        self.revisions: dict[str, int] = {}
        self.backwards: list[str] = []
        self.took_s: list[float] = []
        self.pulls = 0

    def send(self, method: str, path: str, *, headers: Mapping[str, str], body: bytes | None) -> Response:
        """Send once."""
        began = time.perf_counter()
        if self._rng.random() < 0.5:
            answer = self._other.send(method, path, headers=headers, body=body)
        else:
            answer = super().send(method, path, headers=headers, body=body)
        if answer.status == 410:
            self.backwards.append(f"{path}: asked to start again")
        if answer.status == 200 and path == SYNC and body is not None:
            self.took_s.append(time.perf_counter() - began)
            sent = json.loads(gzip.decompress(body))
            self.pulls += not sent["changes"]
            self._compare_pull(sent["cursor"], json_of(answer))
        return answer

    def _compare_pull(self, sent: int, answer: Mapping[str, Any]) -> None:
        cursor, changes = answer["cursor"], answer["changes"]
        if cursor < self.cursor:
            self.backwards.append(f"cursor {cursor} after {self.cursor}")
        self.cursor = max(cursor, self.cursor)
        for change in changes:
            if change["revision"] <= sent:
                self.backwards.append(f"revision {change['revision']} pulled after cursor {sent}")
            self.compare(change["id"], change["revision"])

    def compare(self, record: str, revision: int) -> None:
        """Note the revision at which a record was seen, and whether it was seen at a later one before."""
        if revision < self.revisions.get(record, 0):
            self.backwards.append(f"{record} at revision {revision} after {self.revisions[record]}")
        self.revisions[record] = max(revision, self.revisions.get(record, 0))

    def totals(self) -> Counter[str]:
        """Return how many requests were cut off, and how many were answered with each kind of 5xx."""
        cut_off = Counter({"cut off": self.dropped + self._other.dropped})
        return cut_off + self.server_errors + self._other.server_errors

    def unpromised_answers(self) -> list[str]:
        """Return the answers that no client expects, of both servers."""
        return self.unpromised + self._other.unpromised

    def close(self) -> None:
        """Close both connections."""
        super().close()
        self._other.close()


class WatchingTaster(SimulatedTaster):
    """Is offline at times; also pulls without changes and reads one of its notes, which a replica may answer."""

    transport: EitherServer
    offline = 0.3
    """The share of rounds after which nothing is sent."""
    begins_at = 0
    """Where the team's counter stood when it had tasted nothing."""

    def __init__(self, urls: tuple[str, str], *, longest_wait_s: float, **more: Any) -> None:
        self._urls, self.longest_wait_s = urls, longest_wait_s
        super().__init__(urls[0], **more)

    def _open_transport(self, url: str) -> EitherServer:
        return EitherServer(self._urls, self.rng)

    @property
    def has_unsent(self) -> bool:
        """Whether there are changes that the server has not acknowledged."""
        return bool(self.phone._store.state.outbox)

    def sync(self) -> bool:
        """Sync, then read; False as well while the phone is offline."""
        if self.rng.random() < self.offline:
            return False
        done = super().sync()
        if done:
            super().sync()
            self._read_a_note()
        return done

    def _read_a_note(self) -> None:
        if not self._notes:
            return
        note = self.rng.choice(self._notes)
        token = self.phone._store.state.token
        with suppress(UnreachableError):
            answer = self.transport.send(
                "GET", f"/api/v1/notes/{note}/", headers={"Authorization": f"Bearer {token}"}, body=None
            )
            if answer.status == 404:
                self.errors.append(f"{self.username}: note {note} was acknowledged and is not there")
            elif answer.status == 200:
                self.transport.compare(note, json_of(answer)["revision"])
