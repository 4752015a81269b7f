"""The pictures of an export: checked to be what this program writes, and stored."""

import io
from contextlib import ExitStack

from django.db.models import QuerySet
from PIL import Image

from tastings.actions.importing.team.import_archive import Archive, ArchiveError
from tastings.errors import DiskFull
from tastings.models import PhotoContent
from tastings.models.photo_files import delete_photo_files, write_photo
from tastings.queries.photos import name_on_disk
from teams.models import Team

_START, _END, _SCAN, _JFIF = 0xD8, 0xD9, 0xDA, 0xE0
_TABLES_AND_FRAMES = frozenset((*range(0xC0, 0xD0), 0xDB, 0xDD)) - {0xC8}
"""Markers of Huffman and quantisation tables, of frames and of the restart interval (ITU-T T.81, table B.1)."""
_WITHIN_SCAN = frozenset((0x00, *range(0xD0, 0xD8)))
"""Bytes that may follow 0xFF within a scan: a stuffed byte or a restart."""


def store_pictures(team: Team, archive: Archive, *, cleanup: ExitStack) -> int:
    """Store the pictures of the team's photos; return how many photos have one.

    Raise ArchiveError if a picture is missing, not that of its photo, or holds more than pixels; or if the disk is
    full.
    """
    contents: QuerySet[PhotoContent] = PhotoContent.objects.filter(team_id=team.id).order_by("id")
    count = 0
    for content in contents.iterator(chunk_size=500):
        name = name_on_disk(content)
        files = {"image": f"photos/{name}.jpg", "thumbnail": f"photos/{name}.thumbnail.jpg"}
        image = archive.read_photo(files["image"], sha256=content.image_sha256)
        thumbnail = archive.read_photo(files["thumbnail"], sha256=content.thumbnail_sha256)
        _check_picture(files["image"], image, size=(content.width, content.height))
        _check_picture(files["thumbnail"], thumbnail, size=None)
        cleanup.callback(delete_photo_files, team.id, name)
        try:
            write_photo(team.id, name, image=image, thumbnail=thumbnail)
        except DiskFull as error:
            raise ArchiveError("there is no room for the pictures on this server's disk") from error
        count += 1
    return count


def _check_picture(file: str, data: bytes, *, size: tuple[int, int] | None) -> None:
    try:
        with Image.open(io.BytesIO(data), formats=["JPEG"]) as opened:
            actual = opened.size
    except (OSError, ValueError, Image.DecompressionBombError) as error:
        raise ArchiveError("is no JPEG", file=file) from error
    if size is not None and actual != size:
        raise ArchiveError("has another size than photo_contents tells", file=file)
    if not holds_only_pixels(data):
        raise ArchiveError("holds more than pixels, such as a place, a comment or something behind its end", file=file)


def holds_only_pixels(jpeg: bytes) -> bool:
    """Whether a JPEG has nothing but its head, tables, frames and scans: no metadata, no comment, nothing behind."""
    at = 2
    if jpeg[:2] != bytes((0xFF, _START)):
        return False
    while at + 4 <= len(jpeg) and jpeg[at] == 0xFF:
        marker, length = jpeg[at + 1], int.from_bytes(jpeg[at + 2 : at + 4], "big")
        # 16 bytes: without a thumbnail of its own
        is_head = marker == _JFIF and length == 16 and jpeg[at + 4 : at + 9] == b"JFIF\0"
        if not (is_head or marker in _TABLES_AND_FRAMES or marker == _SCAN):
            return False
        at += 2 + length
        if marker == _SCAN:
            at = _end_of_scan(jpeg, at)
        if jpeg[at:] == bytes((0xFF, _END)):
            return True
    return False


def _end_of_scan(jpeg: bytes, at: int) -> int:
    """Return where the marker stands that ends a scan."""
    while (at := jpeg.find(b"\xff", at)) >= 0:
        if jpeg[at + 1 : at + 2] and jpeg[at + 1] not in _WITHIN_SCAN:
            return at
        at += 2
    return len(jpeg)
