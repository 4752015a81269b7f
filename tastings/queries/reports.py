"""All that a lot's report and card show, read in one go.

What has to be computed besides the stored figures (the guide for the usual pot, the rest after roasting) is cached
under all that it follows from, so that a report that is read again costs a few queries.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db.models import Q, QuerySet

from lots.models import Lot
from tastings.figures import from_stored
from tastings.maths.colour.measured import MeasuredColour
from tastings.maths.comparison.arrival import ArrivalCheck
from tastings.maths.forecast.vessel import VesselForecast
from tastings.maths.guide.pots import PotRequest
from tastings.maths.panel.panel import PanelAgreement
from tastings.maths.panel.presence import NotedWords
from tastings.models import Photo, TeamPanel
from tastings.queries.arrivals import arrival_check_for, lots_bought_on
from tastings.queries.body_feeling import body_feeling_for
from tastings.queries.cache import LRUCache
from tastings.queries.developments import LotDevelopment, SessionFacts, development_of, labels_of, sessions_of_lot
from tastings.queries.forecasts import forecast_in_usual_pot
from tastings.queries.guides import UsualPotGuide, guide_in_usual_pot, usual_pot_at
from tastings.queries.logos import logo_name
from tastings.queries.lot_flights import FlightPlace, flights_of_lots
from tastings.queries.other_harvests import OtherHarvest, compare_harvests, other_harvests_of
from tastings.queries.panels import panel_of
from tastings.queries.photos import ServedFile, colour_of, name_on_disk, photo_file, visible_photos
from tastings.queries.readiness import LotReadiness, readiness_for, wanted_roast
from tastings.queries.records import Record, shared_sessions
from teams.errors import NotFound
from teams.models import Member

MOST_PHOTOS = 12
LARGEST_PX = 320
"""Longer side of a thumbnail on the page. [px]"""

MOST_CACHED = 512
"""Entries of each cache."""

_guides: LRUCache[UsualPotGuide | None] = LRUCache(MOST_CACHED)
_forecasts: LRUCache[VesselForecast | None] = LRUCache(MOST_CACHED)
_readiness: LRUCache[LotReadiness | None] = LRUCache(MOST_CACHED)
_agreements: LRUCache[PanelAgreement | None] = LRUCache(MOST_CACHED)
_harvest_comparisons: LRUCache[OtherHarvest] = LRUCache(MOST_CACHED)
_arrival_checks: LRUCache[ArrivalCheck | None] = LRUCache(MOST_CACHED)


@dataclass(frozen=True, slots=True, kw_only=True)
class LotFacts:
    """What is written down of a lot, as far as a report or card shows it; None where nothing is."""

    name: str = ""
    code: str | None = None
    kind: str | None = None
    cultivar: str | None = None
    country: str | None = None
    region: str | None = None
    garden: str | None = None
    elevation_low_m: float | None = None
    elevation_high_m: float | None = None
    harvest_year: int | None = None
    harvest_season: str | None = None
    oxidation_pct: float | None = None
    roast: str | None = None
    producer: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoFacts:
    """One photo of a report; ``file`` is the name of its picture on the disk, ``href`` where a page finds it."""

    id: str
    of: str
    number: int | None
    day: datetime | None
    width: int
    height: int
    file: str
    sha256: str
    colour: MeasuredColour | None
    href: str = ""


@dataclass(frozen=True, slots=True)
class Arrival:
    """A lot that was bought on a sample, and whether what arrived is the same tea.

    ``other`` with its ``name`` is the sample; in the report of the sample it is the arrived lot, one for each.
    """

    arrived: UUID
    other: UUID
    name: str
    check: ArrivalCheck


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportContent:
    """All that a lot's report and card are written from; ``tasters`` are their names by id."""

    lot: LotFacts
    development: LotDevelopment
    tasters: Mapping[str, str]
    sessions: tuple[SessionFacts, ...]
    labels: Mapping[str, str]
    guide: UsualPotGuide | None = None
    other_vessel: VesselForecast | None = None
    """In the pot of the guide, where the lot was not tasted in one of that material."""
    readiness: LotReadiness | None = None
    panel: PanelAgreement | None = None
    body: NotedWords | None = None
    photos: tuple[PhotoFacts, ...] = ()
    flights: tuple[FlightPlace, ...] = ()
    arrivals: tuple[Arrival, ...] = ()
    harvests: tuple[OtherHarvest, ...] = ()
    merchant: str = ""
    """Name of the team."""
    logo: str = ""
    """Name on the disk of the picture of its logo, or nothing."""
    logo_href: str = ""
    """Where a page finds that."""
    is_for_customers: bool = False
    """Whether nothing may be shown of tasters, shops, dates and how the figures came about."""


def report_content(member: Member, lot: Record, *, today: date, own: PotRequest | None = None) -> ReportContent:
    """Return all that the report of a lot is written from, brewed in the pot ``own`` or, without, in the usual one."""
    development = development_of(lot.id)
    sessions = sessions_of_lot(member, lot.id)
    panel = TeamPanel.objects.filter(team_id=member.team_id).values_list("version", "computed_at").first()
    shop = (member.shop.name, member.shop.usual_pot) if member.shop else ()
    pot = usual_pot_at(member, state=(member.team.revision, *shop)).with_own(own)
    sample = lot.fields.get("from_lot")
    made_from = (lot.id, lot.fields.get("kind"), development.tag, panel)
    roasted_on, degree = lot.fields.get("roasted_on"), lot.fields.get("roast")
    roast = (roasted_on, degree, wanted_roast(member, lot.id) if roasted_on else None, today)
    return ReportContent(
        lot=from_stored(LotFacts, lot.fields),
        development=development,
        tasters={session.taster: session.taster_name for session in sessions},
        sessions=sessions,
        labels=labels_of(member),
        guide=_guides.get_or_compute((*made_from, pot), lambda: guide_in_usual_pot(member, lot.id, pot=pot)),
        other_vessel=_forecasts.get_or_compute(
            (*made_from, pot), lambda: forecast_in_usual_pot(member, lot.id, pot=pot)
        ),
        readiness=_readiness.get_or_compute(
            (*made_from, *roast), lambda: readiness_for(member, lot.id, today=today, level=None)
        ),
        panel=_agreements.get_or_compute((member.team_id, panel), lambda: _strength_agreement(member)),
        body=body_feeling_for(member, lot.id),
        photos=report_photos(member, lot.id),
        flights=flights_of_lots(member.team_id, {lot.id: False, **({UUID(str(sample)): True} if sample else {})}),
        merchant=member.team.name,
        logo=logo_name(member.team_id),
        arrivals=_arrivals(member, lot.id, UUID(str(sample)) if sample else None, panel=panel),
        harvests=_harvests(member, lot.id, tag=development.tag, panel=panel),
    )


def _harvests(member: Member, lot: UUID, *, tag: str, panel: object) -> tuple[OtherHarvest, ...]:
    """Compare a lot with its producer's other harvests, anew only when either has new figures."""

    def compared(other: Lot) -> OtherHarvest:
        written_down = (other.name, other.harvest_year, other.harvest_season)
        key = (lot, tag, other.id, development_of(other.id).tag, written_down, panel)
        return _harvest_comparisons.get_or_compute(key, lambda: compare_harvests(member, lot, other))

    return tuple(compared(other) for other in other_harvests_of(member.team_id, lot))


def _arrivals(member: Member, lot: UUID, sample: UUID | None, *, panel: object) -> tuple[Arrival, ...]:
    """Compare a lot with its sample, or a sample with the lots bought on it, anew only when either has new figures."""

    def compared(arrived: UUID, other: UUID, name: str) -> Iterator[Arrival]:
        tags = [(key, development_of(key).tag) for key in (lot, other)]
        check = _arrival_checks.get_or_compute(
            (arrived, panel, *tags), lambda: arrival_check_for(member, arrived).check
        )
        if check is not None:
            yield Arrival(arrived, other, name, check)

    names = Lot.objects.filter(id=sample, removed=False).values_list("name", flat=True) if sample else ()
    pairs = [(lot, sample, name) for name in names if sample]
    pairs += [(bought.id, bought.id, bought.name) for bought in lots_bought_on(member, lot)]
    return tuple(arrival for pair in pairs for arrival in compared(*pair))


def _strength_agreement(member: Member) -> PanelAgreement | None:
    strength = panel_of(member.team_id).descriptors.get("strength")
    return None if strength is None else strength.agreement


def report_photos(member: Member, lot: UUID) -> tuple[PhotoFacts, ...]:
    """Return the photos of a lot and of its shared sessions, those of the lot first, then as they were taken."""
    photos = sorted(_photos_of_lot(member, lot)[: 4 * MOST_PHOTOS], key=lambda photo: photo.lot_id is None)
    return tuple(photo_facts(photo) for photo in photos[:MOST_PHOTOS])


def session_photos(member: Member, session: UUID) -> tuple[PhotoFacts, ...]:
    """Return the photos of a session that the member may see, as they were taken."""
    rows = visible_photos(member).filter(session_id=session, content__isnull=False).select_related("infusion")
    return tuple(photo_facts(photo) for photo in rows.order_by("taken_at", "id")[:MOST_PHOTOS])


def picture_of_lot(member: Member, *, lot: UUID, photo: UUID, leaf_and_liquor: bool = False) -> ServedFile:
    """Return the thumbnail of a photo of a lot or of its sessions; raise NotFound if the lot has no such photo.

    ``leaf_and_liquor``, for people outside the team: only what the report shows, and no photo of something else.
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
            Q(lot_id=lot, lot__removed=False) | shared, team_id=member.team_id, removed_at=None, content__isnull=False
        )
        .select_related("content", "infusion")
        .order_by("session_id", "taken_at", "id")
    )


def photo_facts(photo: Photo) -> PhotoFacts:
    """Return what is shown of a photo that has its picture."""
    content = photo.content
    assert content is not None  # noqa: S101 - only such are asked for
    scale = min(1.0, LARGEST_PX / max(content.width, content.height, 1))
    return PhotoFacts(
        id=str(photo.id),
        of=photo.of,
        number=photo.infusion.number if photo.infusion else None,
        day=photo.taken_at,
        width=round(content.width * scale),
        height=round(content.height * scale),
        file=name_on_disk(content),
        sha256=content.thumbnail_sha256,
        colour=colour_of(photo),
    )
