"""Reads of photos. A private or blind session's are its taster's; absent, foreign and hidden ones look the same."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from uuid import UUID

from django.db.models import Q, QuerySet

from lots.models.wire import TO_WIRE
from tastings.models import Photo, PhotoContent
from tastings.models.photo_files import image_path, thumbnail_path
from tastings.queries.records import seen_sessions
from teams.errors import NotHere
from teams.models import Member


@dataclass(frozen=True, slots=True, kw_only=True)
class ServedFile:
    """A file to serve: where it lies, and a tag that changes with its bytes."""

    path: Path
    tag: str


def visible_photos(member: Member) -> QuerySet[Photo]:
    """Return the photos that the member may see: of live lots, and of live sessions that they may see."""
    of_something = Q(lot__removed=False) | (Q(session__removed=False) & seen_sessions(member, "session__"))
    return Photo.objects.filter(of_something, team_id=member.team_id, removed_at=None).select_related("content")


def photo_row(member: Member, photo: UUID) -> Photo:
    """Return a photo; raise NotHere for one that the member does not see."""
    found = visible_photos(member).filter(id=photo).first()
    if found is None:
        raise NotHere
    return found


def photo_for(member: Member, photo: UUID) -> dict[str, object]:
    """Return a photo in wire form."""
    return photo_shown(photo_row(member, photo))


def photos_of(
    member: Member, *, session: UUID | None, lot: UUID | None, after: UUID | None, limit: int
) -> Sequence[dict[str, object]]:
    """Return photos in the order of their ids, those of one session or lot if named."""
    rows = visible_photos(member)
    for name, value in (("session_id", session), ("lot_id", lot), ("id__gt", after)):
        if value is not None:
            rows = rows.filter(**{name: value})
    return [photo_shown(row) for row in rows.order_by("id")[:limit]]


def photo_shown(photo: Photo) -> dict[str, object]:
    """Return a photo in wire form."""
    content = photo.content
    return {
        "id": str(photo.id),
        **{name: TO_WIRE["reference"](getattr(photo, f"{name}_id")) for name in ("session", "lot", "infusion")},
        **{name: getattr(photo, name) for name in ("of", "sha256", "bytes", "state")},
        "taken_at": TO_WIRE["moment"](photo.taken_at),
        "reason": photo.reason or None,
        "received": photo.received,
        "width": content.width if content else None,
        "height": content.height if content else None,
        "colour": photo.colour,
        "by": str(photo.by_id),
        "created_at": TO_WIRE["moment"](photo.created_at),
    }


def file_of(member: Member, photo: UUID, *, thumbnail: bool) -> ServedFile:
    """Return the picture of a photo or its thumbnail; raise NotHere as well while there is none."""
    content = photo_row(member, photo).content
    if content is None:
        raise NotHere
    name = name_on_disk(content)
    if thumbnail:
        return ServedFile(path=thumbnail_path(content.team_id, name), tag=content.thumbnail_sha256)
    return ServedFile(path=image_path(content.team_id, name), tag=content.image_sha256)


def name_on_disk(content: PhotoContent) -> str:
    """Return what a picture's files are called.

    The row's own id is part of it: files of a picture that was let go and came back are others, so that deleting the
    old ones can never hit the new.
    """
    return f"{content.sha256}-{content.id.hex[:8]}"
