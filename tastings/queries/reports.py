"""All that a lot's report and card tell, read in one go.

What has to be computed besides the stored figures (the guide for the usual pot, the rest after roasting) is kept in
memory under all that it follows from, so that a report that is read again costs a few queries.
"""

from collections.abc import Mapping
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import Q, QuerySet

from lots.models.wire import TO_WIRE
from tastings.figures import to_stored
from tastings.models import Descriptor, Photo, TeamPanel
from tastings.queries.cache import LRUCache
from tastings.queries.developments import figures_of, labels_of, sessions_shown
from tastings.queries.guides import guide_in_usual_pot, usual_pot_of
from tastings.queries.panels import panel_for
from tastings.queries.photos import ServedFile, colour_of, name_on_disk, photo_file, visible_photos
from tastings.queries.records import Record, shared_sessions
from tastings.queries.verdicts import readiness_for
from teams.errors import NotFound
from teams.models import Member

MOST_PHOTOS = 12


_cache: LRUCache[Any] = LRUCache(512)


def told_of(member: Member, lot: Record, *, today: date) -> dict[str, Any]:
    """Return what the report tells of a lot, as `tastings.reports.page.report_facts` takes it.

    Parameters
    ----------
    lot : Record
        As `record_for` gave it to this member.
    """
    fields, revision = lot.fields, member.team.revision
    figures = figures_of(lot.id)
    sessions = sessions_shown(member, lot.id)
    panel = TeamPanel.objects.filter(team_id=member.team_id).values_list("version", "computed_at").first()
    # Pot and words follow from synced records, each change of which counts the team's revision up, and a shop's name.
    shop = (member.shop_id, member.shop.name if member.shop else "")
    pot = _cache.get_or_compute(("pot", member.team_id, *shop, revision), lambda: usual_pot_of(member))
    roasted_on, level = fields.get("roasted_on"), member.team.ready_roast

    made_from = (lot.id, fields.get("kind"), figures.tag, panel)
    return {
        "lot": fields,
        "development": figures.body,
        "tasted": figures.tasted,
        "tasters": {str(s["taster"]): str(s["taster_name"]) for s in sessions},
        "sessions": sessions,
        "labels": labels_of(member),
        "guide": _cache.get_or_compute(("guide", *made_from, pot), lambda: guide_in_usual_pot(member, lot.id, pot=pot)),
        "readiness": _cache.get_or_compute(
            ("readiness", *made_from, roasted_on, level, today),
            lambda: readiness_for(member, lot.id, today=today, level=None),
        ),
        "panel": _cache.get_or_compute(("panel", member.team_id, panel), lambda: _strength_agreement(member)),
        "photos": report_photos(member, lot.id),
    }


def _strength_agreement(member: Member) -> Mapping[str, object] | None:
    rows: Any = panel_for(member)["agreement"]
    return next((row for row in rows if row["descriptor"] == "strength"), None)


def report_photos(member: Member, lot: UUID) -> list[dict[str, Any]]:
    """Return the photos of a lot and of its shared sessions, those of the lot first, then as they were taken."""
    found = sorted(_photos_of_lot(member, lot)[: 4 * MOST_PHOTOS], key=lambda photo: photo.lot_id is None)
    return [_photo(photo) for photo in found[:MOST_PHOTOS]]


def session_photos(member: Member, session: UUID) -> list[dict[str, Any]]:
    """Return the photos of a session that the member may see, as they were taken."""
    rows = visible_photos(member).filter(session_id=session, content__isnull=False).select_related("infusion")
    return [_photo(photo) for photo in rows.order_by("taken_at", "id")[:MOST_PHOTOS]]


def picture_of_lot(member: Member, *, lot: UUID, photo: UUID, leaf_and_liquor: bool = False) -> ServedFile:
    """Return the thumbnail of a photo of a lot or of its sessions.

    Parameters
    ----------
    leaf_and_liquor : bool
        For people outside the team: only what the report shows, and no photo of something else.

    Raises
    ------
    NotHere
        There is none, or it is of another lot.
    """
    rows = _photos_of_lot(member, lot).exclude(of="other") if leaf_and_liquor else visible_photos(member)
    of_lot = Q(lot_id=lot) | Q(session__lot_id=lot)
    if not rows.filter(of_lot, id=photo).exists():
        raise NotFound
    return photo_file(member, photo, thumbnail=True)


def _photos_of_lot(member: Member, lot: UUID) -> QuerySet[Photo]:
    shared = Q(session__lot_id=lot, session__removed=False) & shared_sessions("session__")
    return (
        Photo.objects.filter(
            Q(lot_id=lot, lot__removed=False) | shared,
            team_id=member.team_id,
            removed_at=None,
            content__isnull=False,
        )
        .select_related("content", "infusion")
        .order_by("session_id", "taken_at", "id")
    )


def _photo(photo: Photo) -> dict[str, Any]:
    content = photo.content
    assert content is not None  # noqa: S101 - only such are asked for
    shorter = max(content.width, content.height, 1)
    part = min(1.0, 320 / shorter)
    colour = to_stored(colour_of(photo))
    return {
        "id": str(photo.id),
        "session": str(photo.session_id) if photo.session_id else None,
        "of": photo.of,
        "number": photo.infusion.number if photo.infusion else None,
        "day": TO_WIRE["moment"](photo.taken_at) if photo.taken_at else None,
        "width": round(content.width * part),
        "height": round(content.height * part),
        "file": name_on_disk(content),
        "sha256": content.thumbnail_sha256,
        "colour": colour and {key: colour[key] for key in ("verdict", "lab", "terms")},
    }


def families_of(member: Member) -> dict[str, str]:
    """Return the family of each descriptor, by key."""
    words = Descriptor.objects.filter(Q(team=None) | Q(team_id=member.team_id)).order_by("-removed")
    return dict(words.values_list("key", "family"))
