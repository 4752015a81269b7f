"""The files of photos: unfinished uploads, and the stored pictures.

``uploads/<photo>`` grows piece by piece; ``kept/<team>/<2 digits>/<name>.jpg`` and ``….thumbnail.jpg`` are written
whole. They lie in a folder (`FolderStore`) or, if ``LEAFSPAN_PHOTO_BUCKET`` names one, in a bucket (`BucketStore`).
"""

import os
from collections.abc import Iterator
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import BinaryIO
from uuid import UUID

from django.conf import settings

from tastings.errors import DiskFull
from tastings.models.photo_bucket import UPLOADS, BucketStore
from tastings.models.photo_folder import FolderStore

STORED = "kept"
_THUMBNAIL = ".thumbnail.jpg"


PhotoStore = FolderStore | BucketStore


def store() -> PhotoStore:
    """Return the store that the settings name."""
    if settings.PHOTO_BUCKET:
        return _bucket(settings.PHOTO_BUCKET)
    return FolderStore(folder=Path(settings.PHOTOS_DIR), leave_free_bytes=settings.PHOTOS_LEAVE_FREE_BYTES)


@cache
def _bucket(url: str) -> BucketStore:
    """Return one client for all threads: it keeps connections open."""
    return BucketStore(url)


def image_key(team: UUID, name: str) -> str:
    """Return the key of a picture."""
    return f"{STORED}/{team}/{name[:2]}/{name}.jpg"


def thumbnail_key(team: UUID, name: str) -> str:
    """Return the key of a picture's thumbnail."""
    return image_key(team, name).removesuffix(".jpg") + _THUMBNAIL


def open_file(key: str) -> BinaryIO:
    """Open a picture or thumbnail to read; raise FileNotFoundError when there is none."""
    return store().open(key)


def read_file(key: str) -> bytes:
    """Return the bytes of a picture or thumbnail; raise FileNotFoundError when there is none."""
    with open_file(key) as file:
        return file.read()


def upload_size(photo: UUID) -> int:
    """Return how many bytes of an upload are stored."""
    return store().size(_upload_key(photo))


def append(photo: UUID, *, offset: int, piece: bytes) -> None:
    """Store a piece at an offset that the upload has reached; it is durable when this returns.

    What lies beyond the offset was never acknowledged and is replaced. Raise DiskFull if there is no room: the upload
    ends at the offset again; PhotoStoreAway if the bucket does not answer.
    """
    store().append(_upload_key(photo), offset=offset, piece=piece)


def read_upload(photo: UUID) -> bytes:
    """Return all bytes of an upload; raise FileNotFoundError when there is none."""
    return read_file(_upload_key(photo))


def delete_upload(photo: UUID) -> None:
    """Delete an upload's bytes, if there are any."""
    store().delete(_upload_key(photo))


def write_photo(team: UUID, name: str, *, image: bytes, thumbnail: bytes) -> None:
    """Write a picture and its thumbnail; both are durable when this returns.

    Raise DiskFull if there is no room: neither is written; PhotoStoreAway if the bucket does not answer: the daily
    tidying deletes what was written.
    """
    try:
        store().write(image_key(team, name), image)
        store().write(thumbnail_key(team, name), thumbnail)
    except DiskFull:
        delete_photo_files(team, name)
        raise


def delete_photo_files(team: UUID, name: str) -> None:
    """Delete a picture and its thumbnail, if they are there."""
    store().delete(image_key(team, name))
    store().delete(thumbnail_key(team, name))


def stored_uploads(*, older_than_s: float) -> Iterator[UUID]:
    """Yield the photos whose upload has not grown for so long."""
    for key in store().keys(UPLOADS, older_than_s=older_than_s):
        with suppress(ValueError):
            yield UUID(key.rpartition("/")[2])


def stored_photos(*, older_than_s: float) -> Iterator[tuple[UUID, str]]:
    """Yield team and name of every older picture."""
    for key in store().keys(STORED, older_than_s=older_than_s):
        _, _, path = key.partition("/")
        team, _, file = path.partition("/")
        if file.endswith(".jpg") and not file.endswith(_THUMBNAIL):
            with suppress(ValueError):
                yield UUID(team), file.rpartition("/")[2].removesuffix(".jpg")


def give_to_owner(photos: str | Path | None = None) -> None:
    """Give what root wrote below a photo folder to the user that owns the folder, as whom web and worker run."""
    folder = Path(photos or settings.PHOTOS_DIR)
    if os.geteuid() != 0 or not folder.is_dir() or folder.stat().st_uid == 0:
        return
    owner = folder.stat()
    for path in folder.rglob("*"):
        os.chown(path, owner.st_uid, owner.st_gid, follow_symlinks=False)


def _upload_key(photo: UUID) -> str:
    return f"{UPLOADS}/{photo}"
