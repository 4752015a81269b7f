"""A team's logo: uploaded and removed by an owner, checked by a worker as photos are."""

import hashlib
from datetime import datetime
from uuid import UUID, uuid4

from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from tastings.actions.image_processing import FORMATS_OF_LOGOS, ProcessedImage, UnreadableImage, decode_image
from tastings.actions.photo_checks import LOST_AFTER, MAX_ATTEMPTS, write_picture
from tastings.actions.photos import delete_if_unused
from tastings.audit_events import TastingEvent
from tastings.errors import DiskFull, PhotoStoreAway
from tastings.jobs import Job, later
from tastings.models import Photo, PhotoContent, TeamLogo
from tastings.models.photo_files import append, delete_photo_files, delete_upload, read_upload
from tastings.queries.photos import name_on_disk
from teams.actions.audit import record_event
from teams.actions.people import check_may_change_team
from teams.actions.revisions import lock_team
from teams.errors import Invalid, NotFound, Problem
from teams.models import Member

LARGEST_LOGO = 1024 * 1024
LOGO_SIDE_PX = 1200
"""A larger picture is stored at this size: enough for print at 300 dots an inch and 10 cm."""


def upload_logo(member: Member, *, file: bytes, now: datetime) -> None:
    """Take a file as the team's logo, to be checked by a worker.

    Raise NotAllowed for all but owners, Invalid if it is empty or too large, DiskFull or PhotoStoreAway if there is no
    room for it now: the logo stays as it was.
    """
    check_may_change_team(member)
    if not 0 < len(file) <= LARGEST_LOGO:
        raise Invalid(problems=[Problem("file", "range", _("a file of at most 1 MB"))])
    upload = uuid4()
    append(upload, offset=0, piece=file)
    with transaction.atomic():
        lock_team(member.team_id)
        before = TeamLogo.objects.filter(team_id=member.team_id).first()
        values = {"sha256": hashlib.sha256(file).hexdigest(), "bytes": len(file), "touched_at": now}
        fresh = {"upload": upload, "state": Photo.State.CHECKING, "reason": "", "attempts": 0, **values}
        TeamLogo.objects.update_or_create(team_id=member.team_id, defaults=fresh)
        if before is not None:
            transaction.on_commit(lambda: delete_upload(before.upload))
        record_event(team=member.team_id, login=member.user_id, event=TastingEvent.LOGO, about={}, now=now)
        later(Job.CHECK_LOGO, str(member.team_id), team=member.team_id)


@transaction.atomic
def remove_logo(member: Member, *, now: datetime) -> None:
    """Take the team's logo away with its files; owners only; raise NotFound when there is none."""
    check_may_change_team(member)
    lock_team(member.team_id)
    logo = TeamLogo.objects.select_for_update().filter(team_id=member.team_id).first()
    if logo is None:
        raise NotFound
    logo.delete()
    transaction.on_commit(lambda: delete_upload(logo.upload))
    if logo.content_id is not None:
        delete_if_unused(logo.content_id)
    record_event(team=member.team_id, login=member.user_id, event=TastingEvent.LOGO_REMOVED, about={}, now=now)


def check_logo(team: UUID, *, now: datetime) -> str:
    """Make a picture of a team's new logo, or refuse it; return the state reached, empty if there was nothing to do."""
    waiting = TeamLogo.objects.filter(team_id=team, state=Photo.State.CHECKING)
    if not waiting.update(attempts=F("attempts") + 1, touched_at=now):
        return ""
    logo = waiting.get()
    try:
        new = write_picture(logo, _decoded(logo), now=now)
    except UnreadableImage as error:
        if not waiting.filter(upload=logo.upload).update(state=Photo.State.REFUSED, reason=error.reason):
            return ""  # another file has come meanwhile
        delete_upload(logo.upload)
        return Photo.State.REFUSED
    except (DiskFull, PhotoStoreAway):
        waiting.update(attempts=F("attempts") - 1)
        return Photo.State.CHECKING
    return _use(logo, new)


def _decoded(logo: TeamLogo) -> ProcessedImage:
    """Return the picture of an uploaded file; one that ended the worker before, or was changed, counts as broken."""
    try:
        file = read_upload(logo.upload)
    except FileNotFoundError as error:
        raise UnreadableImage("broken_image") from error
    if logo.attempts > MAX_ATTEMPTS or hashlib.sha256(file).hexdigest() != logo.sha256:
        raise UnreadableImage("broken_image")
    return decode_image(file, formats=FORMATS_OF_LOGOS, side=LOGO_SIDE_PX)


def _use(checked: TeamLogo, new: PhotoContent) -> str:
    """Show the new picture, unless another file has come meanwhile; delete what is unused then."""
    with transaction.atomic():
        lock_team(checked.team_id)
        logo = TeamLogo.objects.select_for_update().filter(team_id=checked.team_id, upload=checked.upload).first()
        PhotoContent.objects.bulk_create([new], ignore_conflicts=True)
        content = PhotoContent.objects.get(team_id=checked.team_id, sha256=new.sha256)
        if logo is not None:
            before = logo.content_id
            logo.content, logo.state = content, Photo.State.STORED
            logo.save(update_fields=["content", "state"])
            if before is not None:
                delete_if_unused(before)
            transaction.on_commit(lambda: delete_upload(logo.upload))
        delete_if_unused(content.id)
    if content.id != new.id:
        delete_photo_files(new.team_id, name_on_disk(new))
    return Photo.State.STORED if logo is not None else ""


def enqueue_due_logo(team: UUID, *, now: datetime) -> int:
    """Ask again for the check of a team's logo if its job was lost; return how many."""
    lost = TeamLogo.objects.filter(team_id=team, state=Photo.State.CHECKING, touched_at__lt=now - LOST_AFTER)
    with transaction.atomic():
        n_lost = lost.update(touched_at=now)
        if n_lost:
            later(Job.CHECK_LOGO, str(team), team=team)
    return n_lost
