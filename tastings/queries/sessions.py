"""One session with its pours and notes, for reading."""

from collections import defaultdict
from typing import Any
from uuid import UUID

from tastings.models import Infusion, Note, Session
from tastings.queries.developments import labels_of
from tastings.queries.records import record_for, visible_sessions
from tastings.queries.reports import session_photos
from teams.errors import NotFound
from teams.models import Member


def session_told(member: Member, *, lot: UUID, session: UUID) -> dict[str, Any]:
    """Return what a session's page tells.

    Raises
    ------
    NotHere
        The lot has no such session that the member may see.
    """
    fields = record_for(member, "lot", lot).fields
    found = (
        Session.objects.filter(visible_sessions(member), id=session, lot_id=lot, team_id=member.team_id, removed=False)
        .select_related("shop", "taster")
        .first()
    )
    if found is None:
        raise NotFound
    notes: dict[UUID | None, list[dict[str, Any]]] = defaultdict(list)
    for note in (
        Note.objects.filter(session=found, removed=False)
        .select_related("descriptor")
        .order_by("descriptor__position", "descriptor__key", "id")
    ):
        intensity = None if note.intensity is None else float(note.intensity)
        notes[note.infusion_id].append(
            {"moment": note.moment, "key": note.descriptor.key, "intensity": intensity, "text": note.text or ""}
        )
    pours = Infusion.objects.filter(session=found, removed=False).order_by("number", "id")
    return {
        "lot": fields,
        "session": {
            "id": str(found.id),
            **found.wire_values(),
            "taster": str(found.taster),
            "shop": found.shop.name if found.shop else "",
        },
        "pours": [{**pour.wire_values(), "notes": notes.get(pour.id, [])} for pour in pours],
        "notes": notes.get(None, []),
        "labels": labels_of(member),
        "photos": session_photos(member, session),
    }
