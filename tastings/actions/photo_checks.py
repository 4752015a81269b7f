"""What a worker does with photos: check complete uploads, enqueue lost checks, delete unused files."""

import hashlib
import logging
from datetime import datetime, timedelta
from uuid import UUID, uuid4

from django.db import transaction
from django.db.models import F

from tastings.actions.image_processing import ProcessedImage, UnreadableImage, decode_image
from tastings.actions.photos import attach_content, delete_if_unused
from tastings.errors import DiskFull, PhotoStoreAway
from tastings.jobs import Job, later
from tastings.models import Photo, PhotoContent, TeamLogo
from tastings.models.photo_files import (
    delete_photo_files,
    delete_upload,
    read_upload,
    stored_photos,
    stored_uploads,
    write_photo,
)
from tastings.queries.photos import name_on_disk
from teams.actions.revisions import lock_team
from teams.row_security import acting_for, every_team, skip_team_elsewhere, team_of, teams_with_photos_to_check

MAX_ATTEMPTS = 5
"""How often a file may end the worker before it counts as broken."""
LOST_AFTER = timedelta(minutes=3)
"""An enqueued check counts as lost after this time."""
UPLOAD_RETENTION = timedelta(days=30)
"""The bytes of an unfinished upload are deleted after this time; the phone then begins again at 0."""
_DAY_S = 86_400.0

_log = logging.getLogger(__name__)


def check_photo(photo: UUID, *, now: datetime) -> str:
    """Turn a complete upload into a picture, or refuse it; return the state reached, empty if there was nothing to do.

    The upload's bytes are deleted only after the picture is on the disk and the database says so. On a full disk
    or without an answer of the store all stays as it is, to be tried again.
    """
    row = _start_check(photo, now=now)
    if row is None:
        return ""
    if row.attempts > MAX_ATTEMPTS:
        return _refuse(row, "broken_image")
    try:
        return _run_check(row, now=now)
    except UnreadableImage as error:
        return _refuse(row, error.reason)
    except FileNotFoundError:
        return _reset_upload(photo)
    except (DiskFull, PhotoStoreAway) as error:
        _log.warning("photo %s: %s; it will be tried again", photo, error.code)
        Photo.objects.filter(id=photo).update(attempts=F("attempts") - 1)
        return Photo.State.CHECKING


@transaction.atomic
def _start_check(photo: UUID, *, now: datetime) -> Photo | None:
    row = (
        Photo.objects.select_for_update(no_key=True)
        .filter(id=photo, state=Photo.State.CHECKING, removed_at=None)
        .first()
    )
    if row is not None:
        row.attempts, row.touched_at = row.attempts + 1, now
        row.save(update_fields=["attempts", "touched_at"])
    return row


def _run_check(row: Photo, *, now: datetime) -> str:
    file = read_upload(row.id)
    if len(file) != row.bytes or hashlib.sha256(file).hexdigest() != row.sha256:
        raise UnreadableImage("wrong_hash")
    if PhotoContent.objects.filter(team_id=row.team_id, sha256=row.sha256).exists() and (
        state := _store(row, None, now=now)
    ):
        return state
    return _store(row, decode_image(file), now=now)


def _store(row: Photo, picture: ProcessedImage | None, *, now: datetime) -> str:
    """Link the photo with the picture that the team holds of these bytes, or with the one given."""
    new = write_picture(row, picture, now=now) if picture is not None else None
    content = _link(row, new)
    # Only now, when the commit is known: files of a commit that may have come through are the daily tidying's.
    if new is not None and (content is None or content.id != new.id):
        delete_photo_files(new.team_id, name_on_disk(new))
    return Photo.State.STORED if content is not None else ""


@transaction.atomic
def _link(row: Photo, new: PhotoContent | None) -> PhotoContent | None:
    lock_team(row.team_id)
    waiting = Photo.objects.select_for_update(no_key=True).filter(
        id=row.id, state=Photo.State.CHECKING, removed_at=None
    )
    photo = waiting.first()
    if photo is None:
        return None
    if new is not None:
        PhotoContent.objects.bulk_create([new], ignore_conflicts=True)
    same = PhotoContent.objects.filter(team_id=photo.team_id, sha256=photo.sha256)
    content = same.select_for_update(no_key=True).first()
    if content is not None:
        attach_content(photo, content)
        transaction.on_commit(lambda: delete_upload(row.id))
    return content


def write_picture(row: Photo | TeamLogo, picture: ProcessedImage, *, now: datetime) -> PhotoContent:
    """Write a picture's files; return its row, not yet stored."""
    new = PhotoContent(
        id=uuid4(),
        team_id=row.team_id,
        sha256=row.sha256,
        bytes=row.bytes,
        width=picture.width,
        height=picture.height,
        image_sha256=hashlib.sha256(picture.image).hexdigest(),
        thumbnail_sha256=hashlib.sha256(picture.thumbnail).hexdigest(),
        created_at=now,
    )
    write_photo(row.team_id, name_on_disk(new), image=picture.image, thumbnail=picture.thumbnail)
    return new


@transaction.atomic
def _refuse(photo: Photo, reason: str) -> str:
    lock_team(photo.team_id)
    checked = Photo.objects.filter(id=photo.id, state=Photo.State.CHECKING)
    if not checked.update(state=Photo.State.REFUSED, reason=reason):
        return ""
    transaction.on_commit(lambda: delete_upload(photo.id))
    return Photo.State.REFUSED


def _reset_upload(photo: UUID) -> str:
    """Have the bytes sent again: they are lost, and no other job has made a picture of them."""
    reset = Photo.objects.filter(id=photo, state=Photo.State.CHECKING)
    return Photo.State.RECEIVING if reset.update(state=Photo.State.RECEIVING, received=0, attempts=0) else ""


def enqueue_due_photos(*, now: datetime) -> int:
    """Enqueue the check of every complete upload whose job was lost, at most 100 of a team; return how many."""
    n_enqueued = 0
    for team in teams_with_photos_to_check():
        with skip_team_elsewhere(), acting_for(team):
            n_enqueued += _enqueue_due_photos_of(team, now=now)
    return n_enqueued


@transaction.atomic
def _enqueue_due_photos_of(team: UUID, *, now: datetime) -> int:
    due = Photo.objects.filter(
        team_id=team, state=Photo.State.CHECKING, removed_at=None, touched_at__lt=now - LOST_AFTER
    )
    rows = list(due.select_for_update(no_key=True, skip_locked=True).order_by("touched_at")[:100])
    Photo.objects.filter(id__in=[row.id for row in rows]).update(touched_at=now)
    for row in rows:
        later(Job.CHECK_PHOTO, str(row.id))
    return len(rows)


def delete_unused_photos(*, now: datetime) -> int:
    """Delete abandoned uploads, unreferenced pictures and orphan files; return how many."""
    n_deleted = 0
    for team in every_team():
        with skip_team_elsewhere(), acting_for(team):
            n_deleted += _delete_rows(team, now=now)
    for photo in stored_uploads(older_than_s=_DAY_S):
        with skip_team_elsewhere(), acting_for(team_of("photo", photo)):
            n_deleted += _delete_orphan_upload(photo)
    for team, name in stored_photos(older_than_s=_DAY_S):
        with skip_team_elsewhere(), acting_for(team):
            referenced = PhotoContent.objects.filter(team_id=team, sha256=name.partition("-")[0]).first()
            if referenced is None or name_on_disk(referenced) != name:
                delete_photo_files(team, name)
                n_deleted += 1
    return n_deleted


def _delete_rows(team: UUID, *, now: datetime) -> int:
    n_deleted = 0
    abandoned = Photo.objects.filter(
        team_id=team,
        state=Photo.State.RECEIVING,
        received__gt=0,
        removed_at=None,
        touched_at__lt=now - UPLOAD_RETENTION,
    )
    for photo in abandoned.values_list("id", flat=True):
        n_deleted += _expire_upload(photo, now=now)
    for content in PhotoContent.objects.filter(team_id=team, photos=None, logos=None).values_list("id", flat=True):
        with transaction.atomic():
            n_deleted += delete_if_unused(content)
    return n_deleted


@transaction.atomic
def _expire_upload(photo: UUID, *, now: datetime) -> int:
    row = Photo.objects.select_for_update(no_key=True).get(id=photo)
    if row.state != Photo.State.RECEIVING or row.touched_at >= now - UPLOAD_RETENTION:
        return 0
    delete_upload(photo)
    row.received = 0
    row.save(update_fields=["received"])
    return 1


@transaction.atomic
def _delete_orphan_upload(photo: UUID) -> int:
    """Drop an upload's bytes unless its photo still needs them; its row is locked, as it is while a piece comes in."""
    row = Photo.objects.select_for_update(no_key=True).filter(id=photo, removed_at=None, received__gt=0).first()
    if row is not None and row.state in (Photo.State.RECEIVING, Photo.State.CHECKING):
        return 0
    delete_upload(photo)
    return 1
