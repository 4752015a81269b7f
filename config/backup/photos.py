"""Copies photos from their store into the backup and out of it.

Files are copied in two passes: first all kept pictures, which may take long, then, right after the database's snapshot,
what has come since and the uploads. A picture is on the disk before the database speaks of it, so every one of the
snapshot was there in one pass or the other, unless it was taken away between the snapshot and the second pass.
"""

import json
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from config.backup.checksums import copy_hashed
from config.backup.programs import BackupError
from tastings.models.photo_files import PhotoStore

LIST = "photos.jsonl"
_UUID = r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}"
_NAME = re.compile(
    rf"photos/(kept/{_UUID}/[0-9a-f]{{2}}/[0-9a-f-]{{1,100}}(\.thumbnail)?\.jpg|uploads/{_UUID})", re.ASCII
)


def is_photo(name: str) -> bool:
    """Whether a name in the file is one that a photo has."""
    return _NAME.fullmatch(name) is not None


class PhotoCopier:
    """Puts photos into the zip; ``listing`` gets a line for each."""

    def __init__(self, store: PhotoStore, target: zipfile.ZipFile, listing: IO[bytes]) -> None:
        self._store, self._target, self._listing = store, target, listing
        self.count = 0

    def copy(self, part: str) -> None:
        """Copy the files of ``kept`` or ``uploads`` that are not in the zip yet."""
        for key in self._store.keys(part):
            name = f"photos/{key}"
            if is_photo(name) and not self.has(name):
                self._copy_file(key, name)

    def has(self, name: str) -> bool:
        """Whether the zip holds it."""
        return name in self._target.NameToInfo

    def _copy_file(self, key: str, name: str) -> None:
        try:
            source = self._store.open(key)
        except FileNotFoundError:
            return  # taken away since the keys were listed
        with source, self._target.open(zipfile.ZipInfo(name), "w", force_zip64=True) as member:
            size, sha256 = copy_hashed(source, member)
        self._listing.write(json.dumps({"name": name, "bytes": size, "sha256": sha256}).encode() + b"\n")
        self.count += 1


def restore_photos(source: zipfile.ZipFile, folder: Path) -> int:
    """Write the photos of a backup into a new folder and return how many.

    Raise BackupError if one is missing or damaged.
    """
    count = 0
    for name, size, sha256 in _entries(source):
        path = folder / name.removeprefix("photos/")
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        try:
            with source.open(name) as member, path.open("xb") as file:
                path.chmod(0o600)
                written = copy_hashed(member, file, most=size)
        except (KeyError, zipfile.BadZipFile) as error:
            raise BackupError(f"{name} is missing or damaged: {error}") from error
        if written != (size, sha256):
            raise BackupError(f"{name} is damaged: its SHA-256 is not the one noted")
        count += 1
    return count


def _entries(source: zipfile.ZipFile) -> Iterator[tuple[str, int, str]]:
    with source.open(LIST) as lines:
        for line in lines:
            entry = json.loads(line)
            if not is_photo(entry["name"]):
                raise BackupError(f"{entry['name'][:200]} is no photo")
            yield entry["name"], int(entry["bytes"]), entry["sha256"]
