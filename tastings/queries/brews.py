"""A lot's sessions as the maths takes them. Private and blind sessions and removed records take no part."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import fmean
from uuid import UUID

from django.db.models import QuerySet

from lots.models import Lot
from tastings.maths.brewing.brews import Brew, Pour
from tastings.maths.brewing.even_brew import BOILING, EvenBrew, even_brew_of
from tastings.models import Infusion, Note, Session
from tastings.queries.records import shared_sessions

_CUP_MOMENTS = ("mouth", "liquor", "finish", "body", "lid", "empty_cup")
"""Moments of a note about an infusion's cup. A descriptor rated at several of them counts at the first."""


_LAST = 1_000_000
"""Position of returning sweetness among the descriptors: behind all others."""
SWEETNESS, FINISH, RETURNING = "sweetness", "finish", "returning_sweetness"
"""Sweetness that is noted at the finish is the one that comes back: it is not averaged with that in the mouth."""


@dataclass(frozen=True, slots=True)
class LotBrews:
    """A lot's brews, the keys of the descriptors that get a curve, and the even brew of its kind.

    These are the descriptors that are rated each infusion, and returning sweetness where anybody rated it.
    """

    brews: tuple[Brew, ...]
    rated: tuple[str, ...]
    even_brew: EvenBrew = BOILING


@dataclass(frozen=True, slots=True)
class _NoteValues:
    moment: str
    key: str
    intensity: float | None


def load_brews(lot: UUID) -> LotBrews:
    """Read the lot's shared sessions."""
    tastings = _build_brews(Session.objects.filter(lot_id=lot).order_by("started_at", "id"))
    return replace(tastings, even_brew=even_brew_of(Lot.objects.values_list("kind", flat=True).get(id=lot)))


def load_latest_brews(team: UUID, *, sessions: int) -> Mapping[str, LotBrews]:
    """Read the team's latest shared sessions by lot; the latest are those that the server received last."""
    shared = _shared(Session.objects.filter(team_id=team))
    latest = list(shared.order_by("-created_at", "-started_at", "id")[:sessions])
    ids = [session.id for session in latest]
    all_brews = _build_brews(Session.objects.filter(id__in=ids).order_by("started_at", "id"))
    lots: dict[str, list[Brew]] = defaultdict(list)
    lot_of = {str(session.id): str(session.lot_id) for session in latest}
    for brew in all_brews.brews:
        lots[lot_of[brew.session]].append(brew)
    return {lot: LotBrews(tuple(brews), all_brews.rated) for lot, brews in sorted(lots.items())}


def _shared(sessions: QuerySet[Session]) -> QuerySet[Session]:
    return sessions.filter(shared_sessions(), removed=False)


def _build_brews(sessions: QuerySet[Session]) -> LotBrews:
    shared = list(_shared(sessions).select_related("lot"))
    ids = [session.id for session in shared]
    pours: dict[UUID, list[Infusion]] = defaultdict(list)
    for infusion in Infusion.objects.filter(session_id__in=ids, removed=False).order_by("number"):
        pours[infusion.session_id].append(infusion)
    notes: dict[UUID, list[_NoteValues]] = defaultdict(list)
    rated: dict[str, int] = {}
    rows = Note.objects.filter(
        session_id__in=ids, removed=False, infusion__isnull=False, descriptor__isnull=False, moment__in=_CUP_MOMENTS
    )
    for infusion_id, moment, key, position, is_rated_each_infusion, intensity in rows.values_list(
        "infusion_id",
        "moment",
        "descriptor__key",
        "descriptor__position",
        "descriptor__rated_each_infusion",
        "intensity",
    ).order_by("id"):
        returns = key == RETURNING or (moment == FINISH and key == SWEETNESS)
        name = RETURNING if returns else key
        if infusion_id is not None:
            notes[infusion_id].append(_NoteValues(moment, name, None if intensity is None else float(intensity)))
        if returns and intensity is not None:
            rated[RETURNING] = _LAST
        elif is_rated_each_infusion and not returns:
            rated[key] = position
    brews = tuple(_brew(session, pours[session.id], notes) for session in shared)
    return LotBrews(brews, tuple(sorted(rated, key=lambda key: (rated[key], key))))


def _brew(session: Session, infusions: Sequence[Infusion], notes: dict[UUID, list[_NoteValues]]) -> Brew:
    return Brew(
        session=str(session.id),
        taster=str(session.taster_id),
        shop=str(session.shop_id) if session.shop_id else None,
        leaf_g=session.leaf_g,
        vessel_ml=session.vessel_ml,
        vessel_material=session.vessel_material or "porcelain",
        vessel_g=session.vessel_g,
        warmed=session.warmed is not False,  # common practice, no source: not noted counts as warmed
        room_c=session.room_c,
        altitude_m=session.altitude_m,
        ending=session.ending or None,
        more_low=session.more_low,
        more_high=session.more_high,
        form=session.lot.form if session.lot else "",
        pours=tuple(
            _pour(infusion, notes.get(infusion.id, []), kettle_c=kettle_c)
            for infusion, kettle_c in zip(infusions, _kettles_c(session, infusions), strict=True)
        ),
    )


def _kettles_c(session: Session, infusions: Sequence[Infusion]) -> list[float]:
    """Return the kettle's heat at each infusion, in order; where it was not read, that of the last reading before.

    Before the first reading that counts; in a session without any, the heat of the even brew for the kind of tea.
    """
    readings = [infusion.kettle_c for infusion in infusions if infusion.kettle_c is not None]
    last_c = readings[0] if readings else even_brew_of(session.lot.kind if session.lot else "").kettle_c
    kettles_c: list[float] = []
    for infusion in infusions:
        last_c = last_c if infusion.kettle_c is None else infusion.kettle_c
        kettles_c.append(last_c)
    return kettles_c


def _pour(infusion: Infusion, notes: list[_NoteValues], *, kettle_c: float) -> Pour:
    ratings: dict[str, float] = {}
    for moment in _CUP_MOMENTS:
        at_moment: dict[str, list[float]] = defaultdict(list)
        for note in notes:
            if note.moment == moment and note.intensity is not None:
                at_moment[note.key].append(note.intensity)
        for key, values in at_moment.items():
            ratings.setdefault(key, fmean(values))
    return Pour(
        number=infusion.number,
        steep_s=infusion.steep_s,
        pour_s=infusion.pour_s,
        kettle_c=kettle_c,
        kettle_read=infusion.kettle_c is not None,
        water_ml=infusion.water_ml,
        rest_s=infusion.rest_s,
        ratings=ratings,
        noted=frozenset(note.key for note in notes) - ratings.keys(),
        tasted=infusion.tasted if infusion.tasted is not None else infusion.number > 0 or bool(notes),
    )
