"""A lot's sessions as the maths takes them. Private and blind sessions and removed records take no part."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from statistics import fmean
from uuid import UUID

from django.db.models import QuerySet

from tastings.maths.brewing.brews import Brew, Pour
from tastings.models import Infusion, Note, Session
from tastings.queries.records import shared_sessions

_IN_THE_CUP = ("mouth", "liquor", "finish", "body", "lid", "empty_cup")
"""Moments that speak of an infusion's cup; a word rated at several counts where it stands first here."""


@dataclass(frozen=True, slots=True)
class Tastings:
    """What is known of a lot: its brews, and the keys of the descriptors meant to be rated each infusion."""

    brews: tuple[Brew, ...]
    rated: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Said:
    moment: str
    key: str
    intensity: float | None


def tastings_of(lot: UUID) -> Tastings:
    """Read the lot's shared sessions."""
    return _read(Session.objects.filter(lot_id=lot).order_by("started_at", "id"))


def latest_tastings(team: UUID, *, sessions: int) -> Mapping[str, Tastings]:
    """Read the team's latest shared sessions, by lot."""
    latest = list(_shared(Session.objects.filter(team_id=team)).order_by("-started_at", "id")[:sessions])
    whole = _read(Session.objects.filter(id__in=[session.id for session in latest]).order_by("started_at", "id"))
    lots: dict[str, list[Brew]] = defaultdict(list)
    lot_of = {str(session.id): str(session.lot_id) for session in latest}
    for brew in whole.brews:
        lots[lot_of[brew.session]].append(brew)
    return {lot: Tastings(tuple(brews), whole.rated) for lot, brews in sorted(lots.items())}


def _shared(sessions: QuerySet[Session]) -> QuerySet[Session]:
    return sessions.filter(shared_sessions(), removed=False)


def _read(found: QuerySet[Session]) -> Tastings:
    sessions = list(_shared(found))
    ids = [session.id for session in sessions]
    pours: dict[UUID, list[Infusion]] = defaultdict(list)
    for infusion in Infusion.objects.filter(session_id__in=ids, removed=False).order_by("number"):
        pours[infusion.session_id].append(infusion)
    said: dict[UUID, list[_Said]] = defaultdict(list)
    rated: dict[str, int] = {}
    notes = Note.objects.filter(session_id__in=ids, removed=False, infusion__isnull=False, moment__in=_IN_THE_CUP)
    for infusion_id, moment, key, position, each, intensity in notes.values_list(
        "infusion_id",
        "moment",
        "descriptor__key",
        "descriptor__position",
        "descriptor__rated_each_infusion",
        "intensity",
    ).order_by("id"):
        if infusion_id is not None:
            said[infusion_id].append(_Said(moment, key, None if intensity is None else float(intensity)))
        if each:
            rated[key] = position
    brews = tuple(_brew(session, pours[session.id], said) for session in sessions)
    return Tastings(brews, tuple(sorted(rated, key=lambda key: (rated[key], key))))


def _brew(session: Session, infusions: Iterable[Infusion], said: dict[UUID, list[_Said]]) -> Brew:
    return Brew(
        session=str(session.id),
        taster=str(session.taster_id),
        shop=str(session.shop_id) if session.shop_id else None,
        leaf_g=session.leaf_g,
        vessel_ml=session.vessel_ml,
        vessel_material=session.vessel_material or "porcelain",
        vessel_g=session.vessel_g,
        warmed=session.warmed is not False,  # common practice, no source: who says nothing has warmed the pot
        room_c=session.room_c,
        altitude_m=session.altitude_m,
        ending=session.ending or None,
        more_low=session.more_low,
        more_high=session.more_high,
        pours=tuple(_pour(infusion, said.get(infusion.id, [])) for infusion in infusions),
    )


def _pour(infusion: Infusion, said: list[_Said]) -> Pour:
    ratings: dict[str, float] = {}
    for moment in _IN_THE_CUP:
        at_moment: dict[str, list[float]] = defaultdict(list)
        for one in said:
            if one.moment == moment and one.intensity is not None:
                at_moment[one.key].append(one.intensity)
        for key, values in at_moment.items():
            ratings.setdefault(key, fmean(values))
    return Pour(
        number=infusion.number,
        steep_s=infusion.steep_s,
        pour_s=infusion.pour_s,
        kettle_c=infusion.kettle_c,
        water_ml=infusion.water_ml,
        rest_s=infusion.rest_s,
        ratings=ratings,
        noted=frozenset(one.key for one in said) - ratings.keys(),
        tasted=infusion.tasted if infusion.tasted is not None else infusion.number > 0 or bool(said),
    )
