"""Photos on disk: unfinished uploads, and the stored pictures.

``<PHOTOS_DIR>/uploads/<photo>`` grows piece by piece. ``<PHOTOS_DIR>/kept/<team>/<2 digits>/<name>.jpg`` and
``….thumbnail.jpg`` are written under another name, flushed to the disk and only then renamed: a file of that name is
complete. A full disk, or one with less left than the database beside it needs, raises `DiskFull` and leaves what was
there unchanged.
"""

import errno
import os
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from uuid import UUID, uuid4

from django.conf import settings

from tastings.errors import DiskFull

_FULL = (errno.ENOSPC, errno.EDQUOT)


def upload_path(photo: UUID) -> Path:
    """Return the file of an upload."""
    return _root() / "uploads" / str(photo)


def image_path(team: UUID, name: str) -> Path:
    """Return the file of a picture."""
    return _root() / "kept" / str(team) / name[:2] / f"{name}.jpg"


def thumbnail_path(team: UUID, name: str) -> Path:
    """Return the file of a picture's thumbnail."""
    return image_path(team, name).with_suffix(".thumbnail.jpg")


def upload_size(photo: UUID) -> int:
    """Return how many bytes of an upload are on disk."""
    try:
        return upload_path(photo).stat().st_size
    except FileNotFoundError:
        return 0


def append(photo: UUID, *, offset: int, piece: bytes) -> None:
    """Write a piece at an offset that the upload has reached, and flush it to the disk.

    What lies beyond the offset was never acknowledged and is overwritten.

    Raises
    ------
    DiskFull
        There is no room; the upload ends at the offset again.
    """
    path = upload_path(photo)
    with _translate_disk_full():
        _check_free_space(len(piece))
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


def read_upload(photo: UUID) -> bytes:
    """Return all bytes of an upload; raise FileNotFoundError when there is none."""
    return upload_path(photo).read_bytes()


def delete_upload(photo: UUID) -> None:
    """Delete an upload's bytes, if there are any."""
    upload_path(photo).unlink(missing_ok=True)


def write_photo(team: UUID, name: str, *, image: bytes, thumbnail: bytes) -> None:
    """Write a picture and its thumbnail; both are on the disk when this returns.

    Raises
    ------
    DiskFull
        There is no room; neither is there.
    """
    path = image_path(team, name)
    try:
        with _translate_disk_full():
            _check_free_space(len(image) + len(thumbnail))
            _make_folder(path.parent)
            _write_atomically(path, image)
            _write_atomically(thumbnail_path(team, name), thumbnail)
            _fsync_folder(path.parent)
    except DiskFull:
        delete_photo_files(team, name)
        raise


def delete_photo_files(team: UUID, name: str) -> None:
    """Delete a picture and its thumbnail, if they are there."""
    image_path(team, name).unlink(missing_ok=True)
    thumbnail_path(team, name).unlink(missing_ok=True)


def uploads_on_disk(*, older_than_s: float) -> Iterator[UUID]:
    """Yield the photos whose upload has not grown for so long."""
    for path in _old_files(_root() / "uploads", older_than_s=older_than_s):
        with suppress(ValueError):
            yield UUID(path.name)


def stored_photos(*, older_than_s: float) -> Iterator[tuple[UUID, str]]:
    """Yield team and name of every older picture on disk; half-written files of that age are deleted."""
    for path in _old_files(_root() / "kept", older_than_s=older_than_s):
        if path.suffix == ".new":
            path.unlink(missing_ok=True)
        elif path.suffixes == [".jpg"]:
            with suppress(ValueError):
                yield UUID(path.parent.parent.name), path.stem


def give_to_owner() -> None:
    """Give what root wrote below the photo folder to the user that owns the folder, as whom web and worker run."""
    folder = _root()
    if os.geteuid() != 0 or not folder.is_dir() or folder.stat().st_uid == 0:
        return
    owner = folder.stat()
    for path in folder.rglob("*"):
        os.chown(path, owner.st_uid, owner.st_gid, follow_symlinks=False)


def _root() -> Path:
    return Path(settings.PHOTOS_DIR)


def _old_files(folder: Path, *, older_than_s: float) -> Iterator[Path]:
    limit = time.time() - older_than_s
    for path in sorted(folder.rglob("*")):
        with suppress(FileNotFoundError):
            if path.is_file() and path.stat().st_mtime < limit:
                yield path


@contextmanager
def _translate_disk_full() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        if error.errno in _FULL:
            raise DiskFull from error
        raise


def _check_free_space(n_bytes: int) -> None:
    _make_folder(_root())
    if shutil.disk_usage(_root()).free - n_bytes < settings.PHOTOS_LEAVE_FREE_BYTES:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def _write_atomically(path: Path, data: bytes) -> None:
    tmp_path = path.with_name(f"{path.name}.{uuid4().hex}.new")
    descriptor = os.open(tmp_path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
    try:
        try:
            _write(descriptor, data)
        finally:
            os.close(descriptor)
        tmp_path.replace(path)
    except BaseException:
        tmp_path.unlink(missing_ok=True)
        raise


def _write(descriptor: int, data: bytes) -> None:
    rest = memoryview(data)
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
