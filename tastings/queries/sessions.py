"""One session with its pours and notes, for reading."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from uuid import UUID

from tastings.figures import from_stored
from tastings.models import Infusion, Note, Session
from tastings.queries.developments import labels_of
from tastings.queries.records import first_or_not_found, record_for, visible_sessions
from tastings.queries.reports import PhotoFacts, session_photos
from teams.models import Member


@dataclass(frozen=True, slots=True)
class NotedWord:
    """One note; ``key`` is None for words alone, ``intensity`` for what was not rated. [points, 0 to 10]."""

    moment: str
    key: str | None
    intensity: float | None
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PourContent:
    """One pour with its notes; None where nothing was written down."""

    number: int
    steep_s: float
    pour_s: float | None = None
    kettle_c: float | None = None
    remarks: str | None = None
    notes: tuple[NotedWord, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionFields:
    """How a session was brewed, by whom and where; None where nothing was written down."""

    started_at: datetime
    taster: str
    shop: str
    leaf_g: float | None = None
    vessel_ml: float | None = None
    vessel_material: str | None = None
    water: str | None = None
    altitude_m: float | None = None
    room_c: float | None = None
    warmed: bool | None = None
    ending: str | None = None
    remarks: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionContent:
    """All that a session's page is written from."""

    lot_name: str
    session: SessionFields
    pours: tuple[PourContent, ...]
    notes: tuple[NotedWord, ...]
    labels: Mapping[str, str]
    photos: tuple[PhotoFacts, ...]


def session_content(member: Member, *, lot: UUID, session: UUID) -> SessionContent:
    """Return what a session's page is written from; raise NotFound if the lot has none such that the member may see."""
    lot_fields = record_for(member, "lot", lot).fields
    row = first_or_not_found(
        Session.objects.filter(
            visible_sessions(member), id=session, lot_id=lot, team_id=member.team_id, removed=False
        ).select_related("shop", "taster")
    )
    notes = _notes(row)
    pours = Infusion.objects.filter(session=row, removed=False).order_by("number", "id")
    names = {"taster": str(row.taster), "shop": row.shop.name if row.shop else ""}
    return SessionContent(
        lot_name=str(lot_fields.get("name") or ""),
        session=from_stored(SessionFields, {**row.wire_values(), **names}),
        pours=tuple(
            replace(from_stored(PourContent, pour.wire_values()), notes=tuple(notes.get(pour.id, ()))) for pour in pours
        ),
        notes=tuple(notes.get(None, ())),
        labels=labels_of(member),
        photos=session_photos(member, session),
    )


def _notes(session: Session) -> Mapping[UUID | None, list[NotedWord]]:
    """Return the session's notes by infusion, those of the session itself under None."""
    notes: dict[UUID | None, list[NotedWord]] = defaultdict(list)
    rows = Note.objects.filter(session=session, removed=False).select_related("descriptor")
    for note in rows.order_by("descriptor__position", "descriptor__key", "id"):
        intensity = None if note.intensity is None else float(note.intensity)
        key = None if note.descriptor is None else note.descriptor.key
        notes[note.infusion_id].append(NotedWord(note.moment, key, intensity, note.text or ""))
    return notes
