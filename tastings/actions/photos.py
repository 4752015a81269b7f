"""Uploads of photos: announced first, then sent piece by piece, checked by a worker once complete."""

from collections.abc import Mapping
from datetime import datetime
from typing import TypedDict
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from lots.bodies import clean_body
from tastings.actions.photo_permissions import check_may_change_photo, check_may_photograph, record_photo_correction
from tastings.actions.quotas import check_photo_quotas
from tastings.errors import PhotoNotReady, WrongOffset
from tastings.jobs import Job, later
from tastings.models import Photo, PhotoContent
from tastings.models.photo_files import append, delete_photo_files, delete_upload, upload_size
from tastings.queries.logos import is_logo
from tastings.queries.photos import get_photo, name_on_disk, visible_photos
from tastings.queries.records import record_for
from tastings.schemas import PHOTO
from teams.actions.revisions import lock_team
from teams.errors import Invalid, NotAllowed, NotFound, Problem
from teams.models import Member
from teams.queries.people import require_writer


class _PhotoColumns(TypedDict):
    session_id: UUID | None
    lot_id: UUID | None
    infusion_id: UUID | None
    of: str
    sha256: str
    bytes: int
    taken_at: datetime | None


def announce_photo(member: Member, *, photo: UUID, sent: Mapping[str, object], now: datetime) -> bool:
    """Make a photo under the id its client made, to be sent piece by piece; return whether it is new.

    It is complete at once when the member can see another photo of the same bytes. The same announcement again changes
    nothing. Raise NotAllowed if the member only reads or the session is another taster's, Invalid for a field, an
    unknown parent or an id in use, QuotaFull if it would go beyond what the team or the member may store.
    """
    require_writer(member)
    values = clean_body(PHOTO, sent)
    if problems := _parent_problems(member, values):
        raise Invalid(problems=problems)
    columns = _columns(values)
    check_may_photograph(member, session=columns["session_id"])
    row = Photo(id=photo, team_id=member.team_id, by_id=member.user_id, created_at=now, touched_at=now, **columns)
    with transaction.atomic():
        lock_team(member.team_id)
        try:
            with transaction.atomic():
                row.save(force_insert=True)
        except IntegrityError:
            stored = Photo.objects.filter(team_id=member.team_id, id=photo).first()
        else:
            check_photo_quotas(member)
            _attach_if_visible(member, row)
            record_photo_correction(member, row, fields=sorted(values), now=now)
            return True
    same = stored is not None and all(getattr(stored, name) == value for name, value in columns.items())
    if stored is None or not same or stored.by_id != member.user_id or stored.removed_at is not None:
        raise Invalid(problems=[Problem("id", "taken", _("choose another id"))])
    return False


def _columns(values: Mapping[str, object]) -> _PhotoColumns:
    """Return the columns of a valid announcement."""
    session, lot, infusion = (
        UUID(str(values[name])) if values.get(name) else None for name in ("session", "lot", "infusion")
    )
    taken = values.get("taken_at")
    return {
        "session_id": session,
        "lot_id": lot,
        "infusion_id": infusion,
        "of": str(values["of"]),
        "sha256": str(values["sha256"]),
        "bytes": int(str(values["bytes"])),
        "taken_at": datetime.fromisoformat(str(taken)) if taken else None,
    }


def _parent_problems(member: Member, values: Mapping[str, object]) -> list[Problem]:
    named = [name for name in ("session", "lot") if values.get(name)]
    if len(named) != 1:
        return [Problem("session", "one_of", _("name the session or the lot that it is a photo of, and not both"))]
    problems = []
    for name in ("session", "lot", "infusion"):
        if not values.get(name):
            continue
        try:
            record = record_for(member, name, UUID(str(values[name])))
        except NotFound:
            problems.append(Problem(name, "unknown_parent", _("the team has no such %(name)s") % {"name": name}))
            continue
        if name == "infusion" and record.fields["session"] != values.get("session"):
            problems.append(Problem("infusion", "other_session", _("is not an infusion of this session")))
    return problems


def _attach_if_visible(member: Member, photo: Photo) -> None:
    """Complete a photo at once if the member sees its bytes elsewhere; knowing the digest is not enough."""
    content = (
        PhotoContent.objects.select_for_update(no_key=True)
        .filter(team_id=member.team_id, sha256=photo.sha256, bytes=photo.bytes)
        .first()
    )
    if content is not None and visible_photos(member).filter(content=content).exists():
        attach_content(photo, content)


def attach_content(photo: Photo, content: PhotoContent) -> None:
    """Mark a locked photo as stored, with the picture of its bytes."""
    photo.state, photo.content, photo.received = Photo.State.STORED, content, photo.bytes
    photo.save(update_fields=["state", "content", "received"])


def receive_piece(member: Member, *, photo: UUID, offset: int, piece: bytes, now: datetime) -> None:
    """Add one piece to an upload; when this returns, it is on the disk. A piece that is there already changes nothing.

    Raise WrongOffset if the upload does not stand at the offset, Invalid if the piece is empty or goes beyond the size
    announced, PhotoNotReady if the photo was refused, DiskFull if there is no room: what came before is safe.
    """
    require_writer(member)
    if get_photo(member, photo).by_id != member.user_id:
        raise NotAllowed(_("a photo is sent by the member who began it"))
    with transaction.atomic():
        row = Photo.objects.select_for_update(no_key=True).get(id=photo)
        received_bytes = _append_piece(row, offset=offset, piece=piece, now=now)
    if received_bytes is not None:
        raise WrongOffset(received_bytes)


def _append_piece(row: Photo, *, offset: int, piece: bytes, now: datetime) -> int | None:
    """Add a piece to a locked photo; return how much is there if that is not the piece's offset."""
    if row.removed_at is not None:
        raise NotFound
    if row.state == Photo.State.REFUSED:
        raise PhotoNotReady(_("it was refused; see its reason"))
    if not piece:
        raise Invalid(problems=[Problem("", "required", _("a piece has at least one byte"))])
    end = offset + len(piece)
    if end > row.bytes:
        raise Invalid(
            problems=[
                Problem(
                    "Upload-Offset", "range", _("the file was announced with %(bytes)s bytes") % {"bytes": row.bytes}
                )
            ]
        )
    if row.state == Photo.State.RECEIVING and (bytes_on_disk := upload_size(row.id)) < row.received:
        row.received = bytes_on_disk  # the disk was put back to an older state: go on from what there is
        row.save(update_fields=["received"])
    if end <= row.received:
        return None
    if offset != row.received:
        return row.received
    append(row.id, offset=offset, piece=piece)
    row.received, row.touched_at = end, now
    if end == row.bytes:
        row.state = Photo.State.CHECKING
        later(Job.CHECK_PHOTO, str(row.id))
    row.save(update_fields=["received", "touched_at", "state"])
    return None


def delete_photo(member: Member, *, photo: UUID, now: datetime) -> None:
    """Delete a photo, and its picture unless another photo of the team shows the same."""
    check_may_change_photo(member, photo)
    with transaction.atomic():
        lock_team(member.team_id)
        row = Photo.objects.select_for_update(no_key=True).get(id=photo)
        if row.removed_at is not None:
            raise NotFound
        content, row.content, row.removed_at = row.content, None, now
        row.save(update_fields=["content", "removed_at"])
        record_photo_correction(member, row, fields=["deleted"], now=now)
        transaction.on_commit(lambda: delete_upload(row.id))
        if content is not None:
            delete_if_unused(content.id)


def delete_if_unused(content_id: UUID) -> bool:
    """Delete a picture that no photo or logo shows any more, within the present transaction; return whether it was."""
    content = PhotoContent.objects.select_for_update().filter(id=content_id).first()
    if content is None or Photo.objects.filter(content=content).exists() or is_logo(content_id):
        return False
    PhotoContent.objects.filter(id=content_id).delete()
    transaction.on_commit(lambda: delete_photo_files(content.team_id, name_on_disk(content)))
    return True
