"""Copies a team's photos from one store to another, each picture checked against the SHA-256 in its row."""

import hashlib
from pathlib import Path
from uuid import UUID

from django.conf import settings

from config.cells.copying import Connection
from tastings.models.photo_bucket import UPLOADS, BucketStore
from tastings.models.photo_files import PhotoStore, give_to_owner, image_key, thumbnail_key
from tastings.models.photo_folder import FolderStore

_PICTURES = "SELECT sha256 || '-' || left(replace(id::text, '-', ''), 8), image_sha256, thumbnail_sha256"
_CONTENTS = f"{_PICTURES} FROM tastings_photocontent WHERE team_id = %s".encode()
_UNFINISHED = b"""SELECT id, received FROM tastings_photo
    WHERE team_id = %(team)s AND state IN ('receiving', 'checking') AND received > 0 AND removed_at IS NULL
    UNION ALL SELECT upload, bytes FROM tastings_teamlogo WHERE team_id = %(team)s AND state = 'checking'"""


class PhotoDamagedError(Exception):
    """A photo's file is not what its row says."""


def store_at(address: str) -> PhotoStore:
    """Return the store in a folder, or in a bucket ``s3://…``."""
    if address.startswith("s3://"):
        return BucketStore(address)
    return FolderStore(folder=Path(address), leave_free_bytes=settings.PHOTOS_LEAVE_FREE_BYTES)


class PhotoMove:
    """Copies what is not there yet; remembers, while it lives, which pictures are.

    ``missing`` names the files that were not in the source either when they were last looked for.
    """

    def __init__(self, source: PhotoStore, target: PhotoStore, team: UUID) -> None:
        self._source, self._target, self._team = source, target, team
        self._done: set[str] = set()
        self.missing: set[str] = set()

    def copy(self, rows: Connection) -> int:
        """Copy the files of all photos that these rows name; return how many were not there."""
        copied = 0
        for name, image, thumbnail in rows.execute(_CONTENTS, [self._team]).fetchall():
            for key, sha256 in ((image_key(self._team, name), image), (thumbnail_key(self._team, name), thumbnail)):
                copied += self._copy_picture(key, sha256)
        for photo, received in rows.execute(_UNFINISHED, {"team": self._team}).fetchall():
            copied += self._copy_upload(f"{UPLOADS}/{photo}", received)
        if copied and isinstance(self._target, FolderStore):
            give_to_owner(self._target.folder)
        return copied

    def _copy_picture(self, key: str, sha256: str) -> int:
        """Copy a stored picture; its file never changes."""
        if key in self._done:
            return 0
        is_there = _digest(self._target, key) == sha256
        content = None if is_there else self._read(key)
        if content is not None:
            if hashlib.sha256(content).hexdigest() != sha256:
                raise PhotoDamagedError(f"{key} is damaged")
            self._target.write(key, content)
        if is_there or content is not None:
            self._done.add(key)
        return int(content is not None)

    def _copy_upload(self, key: str, received: int) -> int:
        """Copy the acknowledged bytes of an unfinished upload."""
        content = (self._read(key) or b"")[:received]  # what lies beyond was not acknowledged
        if _digest(self._target, key) == hashlib.sha256(content).hexdigest():
            return 0
        self._target.delete(key)
        self._target.append(key, offset=0, piece=content)
        return 1

    def _read(self, key: str) -> bytes | None:
        self.missing.discard(key)
        try:
            with self._source.open(key) as file:
                return file.read()
        except FileNotFoundError:
            self.missing.add(key)
            return None


def delete_photos(store: PhotoStore, rows: Connection, team: UUID) -> None:
    """Delete the files of all photos that these rows name."""
    for name, *_ in rows.execute(_CONTENTS, [team]).fetchall():
        store.delete(image_key(team, name))
        store.delete(thumbnail_key(team, name))
    for photo, _ in rows.execute(_UNFINISHED, {"team": team}).fetchall():
        store.delete(f"{UPLOADS}/{photo}")


def _digest(store: PhotoStore, key: str) -> str:
    try:
        with store.open(key) as file:
            return hashlib.sha256(file.read()).hexdigest()
    except FileNotFoundError:
        return ""
