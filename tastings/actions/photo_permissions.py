"""Who may change photos: tasters those they took and those of their own sessions, owners and buyers all they see."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from tastings.audit_events import TastingEvent
from tastings.errors import not_yours
from tastings.models import Photo, Session
from tastings.queries.photos import get_photo
from teams.actions.audit import record_event
from teams.models import Member
from teams.queries.people import require_writer


def check_may_change_photo(member: Member, photo: UUID) -> Photo:
    """Return a photo that the member may change; raise NotFound for one they do not see, NotAllowed for others'."""
    row = get_photo(member, photo)
    require_writer(member)
    if not member.decides and member.user_id not in (row.by_id, _taster_of(row.session_id)):
        raise not_yours("id", _("only who took it, a buyer or an owner changes this"))
    return row


def check_may_photograph(member: Member, *, session: UUID | None) -> None:
    """Raise NotAllowed if the member may not add photos to the session."""
    if session is not None and not member.decides and _taster_of(session) != member.user_id:
        raise not_yours("session", _("only its taster, a buyer or an owner changes this"))


def record_photo_correction(member: Member, photo: Photo, *, fields: Sequence[str], now: datetime) -> None:
    """Add an entry to the audit log if the photo is of another member's session."""
    taster = _taster_of(photo.session_id)
    if taster is not None and taster != member.user_id:
        about = {
            "type": "photo",
            "record": str(photo.id),
            "session": str(photo.session_id),
            "taster": str(taster),
            "fields": list(fields),
        }
        record_event(team=member.team_id, login=member.user_id, event=TastingEvent.CORRECTION, about=about, now=now)


def _taster_of(session: UUID | None) -> UUID | None:
    if session is None:
        return None
    return Session.objects.filter(id=session).values_list("taster_id", flat=True).first()
