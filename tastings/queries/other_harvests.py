"""The same producer's tea of another harvest: which lots, and what differs beyond doubt."""

from dataclasses import dataclass
from uuid import UUID

from django.db.models import Exists, F, Func, OuterRef, Q, TextField, Value
from django.db.models.functions import Coalesce, Lower

from lots.models import Lot
from tastings.maths.comparison.arrival import ArrivalCheck
from tastings.queries.arrivals import check_lots
from tastings.queries.records import record_for
from teams.models import Member

MOST = 3
"""Most other harvests that are compared, the latest first: each takes a fit of both lots."""
NORMAL_FORM = r"lower(regexp_replace(normalize(%(expressions)s, NFKC), '[[:space:][:punct:]]+', '', 'g'))"
"""A producer's name without case, spaces and marks, so that it is the same however it was typed."""


@dataclass(frozen=True, slots=True)
class OtherHarvest:
    """Another harvest of the lot's producer, and the comparison: ``arrived`` in it is the lot, ``sample`` the other."""

    lot: UUID
    name: str
    harvest_year: int
    harvest_season: str
    check: ArrivalCheck


@dataclass(frozen=True, slots=True)
class HarvestsOfProducer:
    """The latest other harvests; ``producer`` is empty for a lot that names none."""

    lot: UUID
    producer: str
    harvests: tuple[OtherHarvest, ...]


def other_harvests_for(member: Member, lot: UUID) -> HarvestsOfProducer:
    """Compare a lot with the other harvests of its producer; raise NotFound for no such lot."""
    record_for(member, "lot", lot)
    producer = Lot.objects.values_list("producer", flat=True).get(id=lot)
    others = other_harvests_of(member.team_id, lot)
    return HarvestsOfProducer(lot, producer, tuple(compare_harvests(member, lot, other) for other in others))


def other_harvests_of(team: UUID, lot: UUID) -> list[Lot]:
    """Return the team's lots of the same producer and kind from another year or season, the latest first."""
    normal = Func(F("producer"), template=NORMAL_FORM, output_field=TextField())
    season = Lower(Coalesce("harvest_season", Value("")))
    rows = Lot.objects.filter(team_id=team, removed=False, harvest_year__isnull=False).exclude(producer="")
    rows = rows.annotate(maker=normal, season=season).exclude(maker="")
    this = rows.filter(id=lot).first()
    if this is None:
        return []
    bought_on = Lot.objects.filter(
        from_lot_id=OuterRef("id"), removed=False
    )  # such a sample is shown as what was bought
    return list(
        rows.filter(~Exists(bought_on), maker=this.maker, kind=this.kind)
        .exclude(Q(harvest_year=this.harvest_year) & Q(season=this.season))
        .order_by("-harvest_year", "season", "name", "id")[:MOST]
    )


def compare_harvests(member: Member, lot: UUID, other: Lot) -> OtherHarvest:
    """Compare a lot with one other harvest, as an arrived lot is compared with its sample."""
    check = check_lots(member, sample=other.id, arrived=lot)
    return OtherHarvest(other.id, other.name, other.harvest_year or 0, other.harvest_season, check)
