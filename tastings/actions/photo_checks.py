"""What a worker does with photos: check those that are complete, find lost ones, tidy what nothing points at."""

import hashlib
import logging
from datetime import datetime, timedelta
from uuid import UUID, uuid4

from django.db import transaction
from django.db.models import F

from tastings.actions.photos import let_go, link
from tastings.actions.picture import Picture, Unreadable, picture_from
from tastings.errors import DiskFull
from tastings.jobs import Job, later
from tastings.models import Photo, PhotoContent
from tastings.models.photo_files import drop_kept, drop_upload, keep, kept_on_disk, read_upload, uploads_on_disk
from tastings.queries.photos import name_on_disk
from teams.row_security import acting_for, every_team, team_of, teams_with_photos_to_check

MOST_ATTEMPTS = 5
"""A file that ends the worker so often is taken for broken."""
LOST_AFTER = timedelta(minutes=3)
"""So long a check asked for may take before it is asked for again."""
UPLOAD_KEPT = timedelta(days=30)
"""So long an unfinished upload may rest before its bytes are let go; the phone then begins again at 0."""
_DAY_S = 86_400.0

State = Photo.State
_log = logging.getLogger(__name__)


def check_photo(photo: UUID, *, now: datetime) -> str:
    """Turn a complete upload into a picture, or refuse it; return the state reached, empty if there was nothing to do.

    The upload's bytes are deleted only after the picture is on the disk and the database says so. On a full disk all
    stays as it is, to be tried again.
    """
    row = _begun(photo, now=now)
    if row is None:
        return ""
    if row.attempts > MOST_ATTEMPTS:
        return _refused(photo, "broken_image")
    try:
        return _checked(row, now=now)
    except Unreadable as error:
        return _refused(photo, error.reason)
    except FileNotFoundError:
        return _emptied(photo)
    except DiskFull:
        _log.warning("photo %s: no room for its picture; it will be tried again", photo)
        Photo.objects.filter(id=photo).update(attempts=F("attempts") - 1)
        return State.CHECKING


@transaction.atomic
def _begun(photo: UUID, *, now: datetime) -> Photo | None:
    row = Photo.objects.select_for_update(no_key=True).filter(id=photo, state=State.CHECKING, removed_at=None).first()
    if row is not None:
        row.attempts, row.touched_at = row.attempts + 1, now
        row.save(update_fields=["attempts", "touched_at"])
    return row


def _checked(row: Photo, *, now: datetime) -> str:
    file = read_upload(row.id)
    if len(file) != row.bytes or hashlib.sha256(file).hexdigest() != row.sha256:
        raise Unreadable("wrong_hash")
    if PhotoContent.objects.filter(team_id=row.team_id, sha256=row.sha256).exists() and (
        state := _stored(row, None, now=now)
    ):
        return state
    return _stored(row, picture_from(file), now=now)


def _stored(row: Photo, picture: Picture | None, *, now: datetime) -> str:
    """Link the photo with the picture that the team holds of these bytes, or with the one given."""
    new = _written(row, picture, now=now) if picture is not None else None
    content = _linked(row.id, new)
    # Only now, when the commit is known: files of a commit that may have come through are the daily tidying's.
    if new is not None and (content is None or content.id != new.id):
        drop_kept(new.team_id, name_on_disk(new))
    return State.KEPT if content is not None else ""


@transaction.atomic
def _linked(photo_id: UUID, new: PhotoContent | None) -> PhotoContent | None:
    waiting = Photo.objects.select_for_update(no_key=True).filter(id=photo_id, state=State.CHECKING, removed_at=None)
    photo = waiting.first()
    if photo is None:
        return None
    if new is not None:
        PhotoContent.objects.bulk_create([new], ignore_conflicts=True)
    same = PhotoContent.objects.filter(team_id=photo.team_id, sha256=photo.sha256)
    content = same.select_for_update(no_key=True).first()
    if content is not None:
        link(photo, content)
        transaction.on_commit(lambda: drop_upload(photo_id))
    return content


def _written(row: Photo, picture: Picture, *, now: datetime) -> PhotoContent:
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
    keep(row.team_id, name_on_disk(new), image=picture.image, thumbnail=picture.thumbnail)
    return new


@transaction.atomic
def _refused(photo: UUID, reason: str) -> str:
    if not Photo.objects.filter(id=photo, state=State.CHECKING).update(state=State.REFUSED, reason=reason):
        return ""
    transaction.on_commit(lambda: drop_upload(photo))
    return State.REFUSED


def _emptied(photo: UUID) -> str:
    """Ask for the bytes again: they are gone, and no other job has made a picture of them."""
    again = Photo.objects.filter(id=photo, state=State.CHECKING)
    return State.RECEIVING if again.update(state=State.RECEIVING, received=0, attempts=0) else ""


def ask_due_photos(*, now: datetime) -> int:
    """Ask for every complete upload whose job was lost, at most 100 of a team at a time; return how many."""
    asked = 0
    for team in teams_with_photos_to_check():
        with acting_for(team):
            asked += _ask_due_photos_of(team, now=now)
    return asked


@transaction.atomic
def _ask_due_photos_of(team: UUID, *, now: datetime) -> int:
    due = Photo.objects.filter(team_id=team, state=State.CHECKING, removed_at=None, touched_at__lt=now - LOST_AFTER)
    rows = list(due.select_for_update(no_key=True, skip_locked=True).order_by("touched_at")[:100])
    Photo.objects.filter(id__in=[row.id for row in rows]).update(touched_at=now)
    for row in rows:
        later(Job.CHECK_PHOTO, str(row.id))
    return len(rows)


def tidy_photos(*, now: datetime) -> int:
    """Let go of abandoned uploads, of pictures that nothing shows and of files that nothing names; return how many."""
    gone = 0
    for team in every_team():
        with acting_for(team):
            gone += _tidy_rows_of(team, now=now)
    for photo in uploads_on_disk(older_than_s=_DAY_S):
        with acting_for(team_of("photo", photo)):
            gone += _drop_unnamed(photo)
    for team, name in kept_on_disk(older_than_s=_DAY_S):
        with acting_for(team):
            held = PhotoContent.objects.filter(team_id=team, sha256=name.partition("-")[0]).first()
        if held is None or name_on_disk(held) != name:
            drop_kept(team, name)
            gone += 1
    return gone


def _tidy_rows_of(team: UUID, *, now: datetime) -> int:
    gone = 0
    resting = Photo.objects.filter(
        team_id=team, state=State.RECEIVING, received__gt=0, removed_at=None, touched_at__lt=now - UPLOAD_KEPT
    )
    for photo in resting.values_list("id", flat=True):
        gone += _let_upload_go(photo, now=now)
    for content in PhotoContent.objects.filter(team_id=team, photos=None).values_list("id", flat=True):
        with transaction.atomic():
            gone += let_go(content)
    return gone


@transaction.atomic
def _let_upload_go(photo: UUID, *, now: datetime) -> int:
    row = Photo.objects.select_for_update(no_key=True).get(id=photo)
    if row.state != State.RECEIVING or row.touched_at >= now - UPLOAD_KEPT:
        return 0
    drop_upload(photo)
    row.received = 0
    row.save(update_fields=["received"])
    return 1


@transaction.atomic
def _drop_unnamed(photo: UUID) -> int:
    """Drop an upload's bytes unless its photo still needs them; its row is locked, as it is while a piece comes in."""
    row = Photo.objects.select_for_update(no_key=True).filter(id=photo, removed_at=None, received__gt=0).first()
    if row is not None and row.state in (State.RECEIVING, State.CHECKING):
        return 0
    drop_upload(photo)
    return 1
