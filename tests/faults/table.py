"""Phones in use, each in a thread: they write, edit, delete and sync, and remember what the server acknowledged."""

import random
import threading
from datetime import UTC, datetime, timedelta
from http.client import HTTPException
from pathlib import Path

import numpy as np
from PIL import Image

from table.phone import (
    Answer,
    Habits,
    HttpLink,
    JournalStore,
    Patience,
    Phone,
    RefusedError,
    SignedOutError,
    UnreachableError,
)
from tests.faults.installation import PASSWORD

PATIENCE = Patience(attempts=10, first_s=0.2, longest_s=4.0)
MOST_SESSIONS, MOST_PHOTOS = 20, 60
POT = {"started_at": "2026-03-04T10:00:00Z", "leaf_g": 5, "vessel_ml": 110, "vessel_material": "porcelain"}


class CountingLink(HttpLink):
    """Counts the requests that were cut off, and says whether one is under way."""

    def __init__(self, url: str) -> None:
        super().__init__(url, timeout_s=15)
        self.under_way, self.cut, self.broken, self.full = False, 0, 0, 0

    def send(self, method, path, *, headers, body) -> Answer:
        """Send once."""
        self.under_way = True
        try:
            answer = super().send(method, path, headers=headers, body=body)
        finally:
            self.under_way = False
        self.full += answer.status == 507
        self.broken += answer.status >= 500 and answer.status != 507
        return answer

    def _send(self, method, path, *, headers, body) -> Answer:
        try:
            return super()._send(method, path, headers=headers, body=body)
        except (OSError, HTTPException):
            self.cut += 1
            raise


class Seat:
    """One taster with a phone whose clock is off by ``skew``.

    ``acknowledged`` holds every change that the server has confirmed, ``own`` those of records that nobody else
    edits, at most one per record and request: each of them is one revision.
    """

    def __init__(self, url: str, *, folder: Path, username: str, skew: timedelta, seed: int) -> None:
        self.username, self._path, self._skew = username, folder / username, skew
        self.link, self.draw = CountingLink(url), random.Random(seed)
        self.acknowledged: list[dict[str, object]] = []
        self.own = 0
        self.eager = False
        """Whether to photograph everything just now."""
        self.photos: dict[str, tuple[str, int]] = {}
        """Digest and size of every photo that the server said it has in full, by id."""
        self.faults: list[str] = []
        self.failed_syncs = self.reborn = self.twice = 0
        self._lots: list[str] = []
        self._notes: list[str] = []
        self._infusions: list[str] = []
        self._deleted: list[str] = []
        self._sessions = 0
        self.phone = self._switch_on()
        self.phone.sign_in(username=username, password=PASSWORD)

    def _switch_on(self) -> Phone:
        habits = Habits(clock=lambda: datetime.now(UTC) + self._skew, patience=PATIENCE, page=200)
        return Phone(self.link, store=JournalStore(self._path), habits=habits)

    def begin(self, lots: int) -> None:
        """Write down the lots that all taste."""
        for i in range(lots):
            self.phone.new("lot", {"name": f"Lot {i + 1}", "kind": "oolong"})
        self.sync()

    def work(self, stop: threading.Event) -> None:
        """Taste until told to stop."""
        try:
            while not stop.is_set():
                self._lots = self._lots or [record.id for record in self.phone.records("lot")]
                if self._lots:
                    self._taste()
                    self._photograph()
                self.sync()
                if self.draw.random() < 0.05:
                    self._die_and_live()
                stop.wait(self.draw.uniform(0, 0.4))
        except Exception as error:  # noqa: BLE001 - whatever it is, the run has to hear of it
            self.faults.append(f"{self.username}: {error!r}")

    def _taste(self) -> None:
        if self._sessions < MOST_SESSIONS and self.draw.random() < 0.4:
            self._pour_a_pot()
        busy = {unsent.record for unsent in self.phone.unsent}
        for _ in range(self.draw.randint(1, 6)):
            lists = (self._notes, self._notes, self._infusions, self._deleted)
            mine = self.draw.choice([records for records in lists if records] or [self._lots])
            mine = self._lots if self.draw.random() < 0.03 else mine  # what all of them edit
            record = self.draw.choice(mine)
            if record in busy:
                continue
            busy.add(record)
            if mine is self._notes and self.draw.random() < 0.1:
                self.phone.delete("note", record)
                self._notes.remove(record)
                self._deleted.append(record)
            elif mine is self._deleted:
                self.phone.edit("note", record, {"text": f"back {self.draw.random():.6f}"})
                self._deleted.remove(record)
                self._notes.append(record)
            elif mine is self._notes:
                self.phone.edit("note", record, {"intensity": self.draw.randint(0, 100) / 10})
            elif mine is self._infusions:
                self.phone.edit("infusion", record, {"steep_s": self.draw.randint(5, 60)})
            else:
                self.phone.edit("lot", record, {"remarks": f"{self.username} {self.draw.random():.6f}"})

    def _pour_a_pot(self) -> None:
        session = self.phone.new("session", POT | {"lot": self.draw.choice(self._lots)})
        for number in range(1, self.draw.randint(3, 6)):
            pour = {"session": session, "number": number, "steep_s": 10 + 5 * number, "pour_s": 6, "kettle_c": 99}
            self._infusions.append(self.phone.new("infusion", pour))
            said = {"moment": "mouth", "descriptor": "strength", "intensity": max(0, 7 - number)}
            self._notes.append(self.phone.new("note", {"session": session, "infusion": self._infusions[-1], **said}))
        self._sessions += 1

    def _photograph(self) -> None:
        if self.draw.random() > (1.0 if self.eager else 0.03) or len(self.photos) >= MOST_PHOTOS:
            return
        path = self._path.parent / f"{self.username}-{self.draw.randrange(10**9)}.jpg"
        noise = np.frombuffer(self.draw.randbytes(480 * 360 * 3), np.uint8).reshape(360, 480, 3)
        Image.fromarray(noise).save(path, "JPEG", quality=95)
        self.phone.album.add(path, of="liquor", lot=self.draw.choice(self._lots), taken_at=datetime.now(UTC))

    def _send_photos(self) -> bool:
        """Send what photos wait; return whether all went through."""
        before = {photo.id: photo for photo in self.phone.album.waiting}
        try:
            self.phone.album.send()
        except SignedOutError:
            raise
        except (UnreachableError, RefusedError):
            self.failed_syncs += 1
        self.faults += [f"{self.username}: photo refused: {one.problems}" for one in self.phone.album.refused]
        left = {photo.id for photo in self.phone.album.waiting}
        self.photos |= {i: (p.announced["sha256"], p.announced["bytes"]) for i, p in before.items() if i not in left}
        return not left

    def sync(self) -> bool:
        """Sync; return whether everything went through."""
        before = {unsent.number for unsent in self.phone.unsent}
        waiting = {unsent.number: unsent for unsent in self.phone.unsent}
        done = True
        try:
            report = self.phone.sync()
            self.twice += report.words["unchanged"]
            self.faults += [
                f"{self.username}: refused {o.unsent.change}: {o.problems}"
                for o in report.outcomes
                if o.word == "refused"
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
            self.own += change["type"] != "lot" or "name" in change["fields"]
        return self._send_photos() and done and not left

    def _die_and_live(self) -> None:
        """Forget everything but the journal."""
        self.phone.close()
        self.phone = self._switch_on()
        self.reborn += 1
