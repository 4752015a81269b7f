"""Photos in a folder that web and worker share.

A file is written under another name, flushed to the disk and only then renamed: a file of its own name is complete. A
full disk, or one with less left than the database beside it needs, raises `DiskFull` and leaves what was there
unchanged.
"""

import errno
import os
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO
from uuid import uuid4

from tastings.errors import DiskFull

_FULL = (errno.ENOSPC, errno.EDQUOT)
_UNFINISHED = ".new"


@dataclass(frozen=True, slots=True, kw_only=True)
class FolderStore:
    """Files below one folder; a key is the path below it."""

    folder: Path
    leave_free_bytes: int

    def open(self, key: str) -> BinaryIO:
        """Open a file to read; raise FileNotFoundError when there is none."""
        return (self.folder / key).open("rb")

    def size(self, key: str) -> int:
        """Return how many bytes a file has, 0 when there is none."""
        try:
            return (self.folder / key).stat().st_size
        except FileNotFoundError:
            return 0

    def write(self, key: str, content: bytes) -> None:
        """Write a whole file, which is on the disk when this returns; raise DiskFull."""
        path = self.folder / key
        with _translate_disk_full():
            self._check_free_space(len(content))
            _make_folder(path.parent)
            _write_atomically(path, content)
            _fsync_folder(path.parent)

    def append(self, key: str, *, offset: int, piece: bytes) -> None:
        """Write a piece at an offset and cut off what lies beyond it; the file ends at the offset on DiskFull."""
        path = self.folder / key
        with _translate_disk_full():
            self._check_free_space(len(piece))
            _make_folder(path.parent)
            descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC, 0o600)
            try:
                os.ftruncate(descriptor, offset)
                os.lseek(descriptor, offset, os.SEEK_SET)
                _write(descriptor, piece)
            except OSError:
                with suppress(OSError):
                    os.ftruncate(descriptor, offset)
                raise
            finally:
                os.close(descriptor)
            if offset == 0:
                _fsync_folder(path.parent)

    def delete(self, key: str) -> None:
        """Delete a file, if it is there."""
        (self.folder / key).unlink(missing_ok=True)

    def keys(self, part: str, *, older_than_s: float = 0.0) -> Iterator[str]:
        """Yield the files below a part that have not changed for so long; unfinished ones of a day are deleted."""
        now = time.time()
        for path in sorted((self.folder / part).rglob("*")):
            with suppress(FileNotFoundError):
                age_s = now - path.stat().st_mtime
                if path.suffix == _UNFINISHED:
                    if age_s > 86_400:
                        path.unlink(missing_ok=True)
                elif path.is_file() and age_s >= older_than_s:
                    yield path.relative_to(self.folder).as_posix()

    def move_in(self, folder: Path) -> None:
        """Take over the files of a folder on the same disk; the store must be empty."""
        for part in folder.iterdir():
            shutil.rmtree(self.folder / part.name, ignore_errors=True)  # empty folders at most
            part.rename(self.folder / part.name)

    def _check_free_space(self, n_bytes: int) -> None:
        _make_folder(self.folder)
        if shutil.disk_usage(self.folder).free - n_bytes < self.leave_free_bytes:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


@contextmanager
def _translate_disk_full() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        if error.errno in _FULL:
            raise DiskFull from error
        raise


def _write_atomically(path: Path, content: bytes) -> None:
    tmp_path = path.with_name(f"{path.name}.{uuid4().hex}{_UNFINISHED}")
    descriptor = os.open(tmp_path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
    try:
        try:
            _write(descriptor, content)
        finally:
            os.close(descriptor)
        tmp_path.replace(path)
    except BaseException:
        tmp_path.unlink(missing_ok=True)
        raise


def _write(descriptor: int, content: bytes) -> None:
    rest = memoryview(content)
    while rest:
        rest = rest[os.write(descriptor, rest) :]
    os.fsync(descriptor)


def _make_folder(folder: Path) -> None:
    if not folder.is_dir():
        _make_folder(folder.parent)
        folder.mkdir(exist_ok=True, mode=0o700)
        _fsync_folder(folder.parent)


def _fsync_folder(folder: Path) -> None:
    """Call fsync on a folder, which makes the names in it durable."""
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
