"""The phone's event log: in a file, or for tests and demonstrations in memory."""

import fcntl
import json
import os
from pathlib import Path
from typing import Protocol
from uuid import uuid4

from table.phone.errors import StoreError
from table.phone.events import Event
from table.phone.phone_state import PhoneState
from table.phone.sync_request import encode_json

_WORTH_COMPACTING_BYTES = 1_000_000


class Store(Protocol):
    """An event log, and the state that its events add up to."""

    @property
    def state(self) -> PhoneState:
        """Return what the events so far add up to."""
        ...

    def append(self, event: Event) -> None:
        """Store an event; it is safe once this returns."""
        ...

    def close(self) -> None:
        """Release files and locks."""
        ...


class MemoryStore:
    """An event log in memory: nothing outlives the process. The device's id is made up if it is not given."""

    def __init__(self, device: str | None = None) -> None:
        self.state = PhoneState(device=device or str(uuid4()))

    def append(self, event: Event) -> None:
        """Store an event."""
        self.state.apply(event)

    def close(self) -> None:
        """Do nothing."""


class JournalStore:
    """A file of JSON lines, one event each; an event is safe once its line has reached the disk.

    A last line that was written only in part is dropped when the file is read again: that event was never reported
    as stored. Once the journal is much longer than what it stands for it is replaced, in one step, by a single
    line. A lock keeps a second process off the file. The file is made if it is not there, readable by its owner only,
    since it holds the token; the id of a new one's device is made up if it is not given. Raise StoreError if it cannot
    be used or holds something else.
    """

    def __init__(self, path: Path, *, device: str | None = None) -> None:
        self.state = PhoneState()
        self._path = path
        self._lock = -1
        try:
            self._lock = os.open(path.with_name(f"{path.name}.lock"), os.O_RDWR | os.O_CREAT, 0o600)
            fcntl.flock(self._lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            self._file = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o600)
        except OSError as error:
            self._unlock()
            raise StoreError(f"{path} cannot be used: {error.strerror}") from error
        try:
            self._length = self._replay()
        except BaseException:
            self.close()
            raise
        self._compact_at = max(_WORTH_COMPACTING_BYTES, 2 * self._length)
        if not self.state.device:
            self.append({"event": "begun", "device": device or str(uuid4())})
            self._sync_folder()

    def append(self, event: Event) -> None:
        """Store an event: first in the file, then in the state."""
        line = encode_json(event) + b"\n"
        try:
            _write(self._file, line)
            os.fsync(self._file)
        except OSError as error:
            try:  # a full disk must not leave half a line before the next one
                os.ftruncate(self._file, self._length)
            except OSError:
                self.close()
            raise StoreError(f"{self._path} cannot be written: {error.strerror}") from error
        self._length += len(line)
        self.state.apply(event)
        if self._length > self._compact_at:
            self.compact()

    def compact(self) -> None:
        """Replace the journal by one line; after a crash meanwhile either the old file or the new one is there."""
        new_file = self._path.with_name(f"{self._path.name}.new")
        try:
            file = os.open(new_file, os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND, 0o600)
            line = encode_json(self.state.snapshot()) + b"\n"
            _write(file, line)
            os.fsync(file)
            new_file.replace(self._path)
            self._sync_folder()
        except OSError as error:
            raise StoreError(f"{self._path} cannot be written: {error.strerror}") from error
        os.close(self._file)
        self._file, self._length = file, len(line)
        self._compact_at = max(_WORTH_COMPACTING_BYTES, 2 * len(line))

    def close(self) -> None:
        """Close the file and release the lock."""
        if self._lock >= 0:
            os.close(self._file)
        self._unlock()

    def _unlock(self) -> None:
        if self._lock >= 0:
            os.close(self._lock)
            self._lock = -1

    def _replay(self) -> int:
        """Apply the events; cut off an unfinished line at the end; return the length of the rest."""
        text = self._path.read_bytes()
        complete = text.rfind(b"\n") + 1
        for number, line in enumerate(text[:complete].splitlines(), start=1):
            try:
                self.state.apply(json.loads(line))
            except (ValueError, KeyError, TypeError) as error:
                raise StoreError(f"{self._path}, line {number} is not an event of a phone: {error!r}") from error
        if complete < len(text):
            os.ftruncate(self._file, complete)
            os.fsync(self._file)
        return complete

    def _sync_folder(self) -> None:
        folder = os.open(self._path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def _write(file: int, content: bytes) -> None:
    while content:
        content = content[os.write(file, content) :]
