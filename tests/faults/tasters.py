"""Simulated tasters, each in a thread: their phones write, edit, delete and sync, and keep what was acknowledged."""

import gzip
import json
import random
import threading
from collections import Counter
from datetime import UTC, datetime, timedelta
from http.client import HTTPException
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from table.phone import (
    HttpTransport,
    JournalStore,
    Phone,
    PhoneOptions,
    RefusedError,
    Response,
    RetryPolicy,
    SignedOutError,
    UnreachableError,
)
from tests.faults.installation import PASSWORD

RETRY = RetryPolicy(attempts=10, first_s=0.2, longest_s=4.0)
MOST_SESSIONS, MOST_PHOTOS = 20, 60
POT = {"started_at": "2026-03-04T10:00:00Z", "leaf_g": 5, "vessel_ml": 110, "vessel_material": "porcelain"}


class CountingTransport(HttpTransport):
    """Counts failed requests, and whether one is in flight."""

    def __init__(self, url: str) -> None:
        super().__init__(url, timeout_s=15)
        self.in_flight, self.dropped, self.disk_full = False, 0, 0
        self.server_errors: Counter[str] = Counter()
        """Answers of 5xx by status and type, without those for a full disk."""
        self.unpromised: list[str] = []
        """Those of them that are not a 503 that says when to come back, which is all that docs/client.md promises."""

    def send(self, method, path, *, headers, body) -> Response:
        """Send once."""
        self.in_flight = True
        try:
            answer = super().send(method, path, headers=headers, body=body)
        finally:
            self.in_flight = False
        self.disk_full += answer.status == 507
        if answer.status >= 500 and answer.status != 507:
            self._note_server_error(answer, request=f"{method} {path}")
        return answer

    def _note_server_error(self, answer: Response, *, request: str) -> None:
        try:
            kind = str(json_of(answer)["type"])
        except (ValueError, KeyError):
            kind = "without a type"
        self.server_errors[f"{answer.status} {kind}"] += 1
        if answer.status != 503 or not answer.headers.get("retry-after", "").isdigit():
            self.unpromised.append(f"{request}: {answer.status} {answer.body[:300]!r}")

    def _send(self, method, path, *, headers, body) -> Response:
        try:
            return super()._send(method, path, headers=headers, body=body)
        except (OSError, HTTPException):
            self.dropped += 1
            raise


def json_of(answer: Response) -> dict[str, Any]:
    """Return the JSON object of an answer."""
    packed = answer.headers.get("content-encoding") == "gzip"
    return dict(json.loads(gzip.decompress(answer.body) if packed else answer.body))


class SimulatedTaster:
    """One taster with a phone whose clock is off by ``clock_offset``.

    ``acknowledged`` holds every change that the server has confirmed, ``unshared_changes`` counts those of
    records that nobody else edits, at most one per record and request: each of them is one revision.
    """

    longest_wait_s = 0.4
    """Between two rounds."""

    def __init__(self, url: str, *, folder: Path, username: str, clock_offset: timedelta, seed: int) -> None:
        self.username, self._path, self._clock_offset = username, folder / username, clock_offset
        self.rng = random.Random(seed)
        self.transport = self._open_transport(url)
        self.acknowledged: list[dict[str, object]] = []
        self.unshared_changes = 0
        self.always_photographs = False
        """Whether to take a photo each time rather than now and then."""
        self.photos: dict[str, tuple[str, int]] = {}
        """Digest and size of every photo that the server said it has in full, by id."""
        self.errors: list[str] = []
        self.failed_syncs = self.restarts = self.already_known = 0
        self._lots: list[str] = []
        self._notes: list[str] = []
        self._infusions: list[str] = []
        self._deleted: list[str] = []
        self._sessions = 0
        self.phone = self._open_phone()
        self.phone.sign_in(username=username, password=PASSWORD)

    def _open_transport(self, url: str) -> CountingTransport:
        return CountingTransport(url)

    def _open_phone(self) -> Phone:
        options = PhoneOptions(clock=lambda: datetime.now(UTC) + self._clock_offset, retry=RETRY, page_size=200)
        return Phone(self.transport, store=JournalStore(self._path), options=options)

    def begin(self, lots: int) -> None:
        """Create the lots that all taste."""
        for i in range(lots):
            self.phone.create("lot", {"name": f"Lot {i + 1}", "kind": "oolong"})
        self.sync()

    def run(self, stop: threading.Event) -> None:
        """Taste until the event is set."""
        try:
            while not stop.is_set():
                self._lots = self._lots or [record.id for record in self.phone.records("lot")]
                if self._lots:
                    self._taste()
                    self._photograph()
                self.sync()
                if self.rng.random() < 0.05:
                    self._restart()
                stop.wait(self.rng.uniform(0, self.longest_wait_s))
        except Exception as error:  # noqa: BLE001 - whatever it is, the run must report it
            self.errors.append(f"{self.username}: {error!r}")

    def _taste(self) -> None:
        if self._sessions < MOST_SESSIONS and self.rng.random() < 0.4:
            self._pour_a_pot()
        busy = {unsent.record for unsent in self.phone.unsent}
        for _ in range(self.rng.randint(1, 6)):
            lists = (self._notes, self._notes, self._infusions, self._deleted)
            mine = self.rng.choice([records for records in lists if records] or [self._lots])
            mine = self._lots if self.rng.random() < 0.03 else mine  # what all of them edit
            record = self.rng.choice(mine)
            if record in busy:
                continue
            busy.add(record)
            if mine is self._notes and self.rng.random() < 0.1:
                self.phone.delete("note", record)
                self._notes.remove(record)
                self._deleted.append(record)
            elif mine is self._deleted:
                self.phone.edit("note", record, {"text": f"back {self.rng.random():.6f}"})
                self._deleted.remove(record)
                self._notes.append(record)
            elif mine is self._notes:
                self.phone.edit("note", record, {"intensity": self.rng.randint(0, 100) / 10})
            elif mine is self._infusions:
                self.phone.edit("infusion", record, {"steep_s": self.rng.randint(5, 60)})
            else:
                self.phone.edit("lot", record, {"remarks": f"{self.username} {self.rng.random():.6f}"})

    def _pour_a_pot(self) -> None:
        session = self.phone.create("session", POT | {"lot": self.rng.choice(self._lots)})
        for number in range(1, self.rng.randint(3, 6)):
            pour = {"session": session, "number": number, "steep_s": 10 + 5 * number, "pour_s": 6, "kettle_c": 99}
            self._infusions.append(self.phone.create("infusion", pour))
            rating = {"moment": "mouth", "descriptor": "strength", "intensity": max(0, 7 - number)}
            self._notes.append(
                self.phone.create("note", {"session": session, "infusion": self._infusions[-1], **rating})
            )
        self._sessions += 1

    def _photograph(self) -> None:
        if self.rng.random() > (1.0 if self.always_photographs else 0.03) or len(self.photos) >= MOST_PHOTOS:
            return
        path = self._path.parent / f"{self.username}-{self.rng.randrange(10**9)}.jpg"
        noise = np.frombuffer(self.rng.randbytes(480 * 360 * 3), np.uint8).reshape(360, 480, 3)
        Image.fromarray(noise).save(path, "JPEG", quality=95)
        self.phone.photos.add(path, subject="liquor", lot=self.rng.choice(self._lots), taken_at=datetime.now(UTC))

    def _send_photos(self) -> bool:
        """Send the waiting photos; return whether all were sent."""
        before = {photo.id: photo for photo in self.phone.photos.waiting}
        try:
            self.phone.photos.send()
        except SignedOutError:
            raise
        except (UnreachableError, RefusedError):
            self.failed_syncs += 1
        self.errors += [f"{self.username}: photo refused: {one.problems}" for one in self.phone.photos.refused]
        left = {photo.id for photo in self.phone.photos.waiting}
        self.photos |= {i: (p.announced["sha256"], p.announced["bytes"]) for i, p in before.items() if i not in left}
        return not left

    def sync(self) -> bool:
        """Sync; return whether everything was sent."""
        before = {unsent.number for unsent in self.phone.unsent}
        waiting = {unsent.number: unsent for unsent in self.phone.unsent}
        done = True
        try:
            report = self.phone.sync()
            self.already_known += report.verdicts["unchanged"]
            self.errors += [
                f"{self.username}: refused {o.unsent.change}: {o.problems}"
                for o in report.outcomes
                if o.verdict == "refused"
            ]
        except SignedOutError:
            raise
        except (UnreachableError, RefusedError):
            self.failed_syncs += 1
            done = False
        left = {unsent.number for unsent in (*self.phone.unsent, *self.phone.refused)}
        for number in before - left:
            change = waiting[number].change
            self.acknowledged.append(change)
            self.unshared_changes += change["type"] != "lot" or "name" in change["fields"]
        return self._send_photos() and done and not left

    def _restart(self) -> None:
        """Start again with nothing but the journal."""
        self.phone.close()
        self.phone = self._open_phone()
        self.restarts += 1
