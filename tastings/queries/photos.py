"""Reads of photos. A private or blind session's are its taster's; absent, foreign and hidden ones look the same."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import BinaryIO
from uuid import UUID

from django.db.models import Q, QuerySet

from tastings.figures import if_readable
from tastings.maths.colour.measured import MeasuredColour
from tastings.models import Photo, PhotoContent
from tastings.models.photo_files import image_key, open_file, thumbnail_key
from tastings.queries.records import first_or_not_found, visible_sessions
from teams.errors import NotFound
from teams.models import Member


@dataclass(frozen=True, slots=True, kw_only=True)
class ServedFile:
    """A file to serve: its key, and a tag that changes with its bytes."""

    key: str
    tag: str

    def open(self) -> BinaryIO:
        """Open it to read; raise FileNotFoundError when it is gone."""
        return open_file(self.key)

    def read(self) -> bytes:
        """Return its bytes; raise FileNotFoundError when it is gone."""
        with self.open() as file:
            return file.read()


def visible_photos(member: Member) -> QuerySet[Photo]:
    """Return the photos that the member may see: of live lots, and of live sessions that they may see."""
    has_parent = Q(lot__removed=False) | (Q(session__removed=False) & visible_sessions(member, "session__"))
    return Photo.objects.filter(has_parent, team_id=member.team_id, removed_at=None).select_related("content")


def get_photo(member: Member, photo: UUID) -> Photo:
    """Return a photo; raise NotFound for one that the member does not see."""
    return first_or_not_found(visible_photos(member).filter(id=photo))


def list_photos(
    member: Member, *, session: UUID | None, lot: UUID | None, after: UUID | None, limit: int
) -> Sequence[Photo]:
    """Return photos in the order of their ids, those of one session or lot if named."""
    rows = visible_photos(member)
    for name, value in (("session_id", session), ("lot_id", lot), ("id__gt", after)):
        if value is not None:
            rows = rows.filter(**{name: value})
    return list(rows.order_by("id")[:limit])


def colour_of(photo: Photo) -> MeasuredColour | None:
    """Return the colour of the liquor in a photo; None while it has not been measured, or by another method only."""
    return if_readable(MeasuredColour, photo.colour)


def photo_file(member: Member, photo: UUID, *, thumbnail: bool) -> ServedFile:
    """Return the picture of a photo or its thumbnail; raise NotFound as well while there is none."""
    content = get_photo(member, photo).content
    if content is None:
        raise NotFound
    name = name_on_disk(content)
    if thumbnail:
        return ServedFile(key=thumbnail_key(content.team_id, name), tag=content.thumbnail_sha256)
    return ServedFile(key=image_key(content.team_id, name), tag=content.image_sha256)


def name_on_disk(content: PhotoContent) -> str:
    """Return the name of a picture's files.

    The row's id is part of it: a picture that was deleted and uploaded again gets other file names, so that deleting
    the old files cannot hit the new ones.
    """
    return f"{content.sha256}-{content.id.hex[:8]}"
