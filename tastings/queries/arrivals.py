"""Whether an arrived lot is the tea of the sample it was bought on."""

from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

from lots.models import Lot
from tastings.maths.comparison.arrival import ArrivalCheck, check_arrival
from tastings.models import TriangleTest
from tastings.queries.brews import load_brews
from tastings.queries.panels import calibration_of
from tastings.queries.records import record_for
from teams.models import Member


@dataclass(frozen=True, slots=True)
class LotArrival:
    """The comparison of an arrived lot with its sample, and the triangle tests of the two.

    ``sample`` and ``check`` are None for a lot that names no sample.
    """

    lot: UUID
    sample: UUID | None
    check: ArrivalCheck | None
    triangle_tests: Sequence[TriangleTest]


def lots_bought_on(member: Member, sample: UUID) -> list[Lot]:
    """Return the lots that were bought on a sample, by name."""
    return list(Lot.objects.filter(team_id=member.team_id, from_lot_id=sample, removed=False).order_by("name", "id"))


def check_lots(member: Member, *, sample: UUID, arrived: UUID) -> ArrivalCheck:
    """Compare two of the team's lots, in the descriptors that both were rated for."""
    before, now = load_brews(sample), load_brews(arrived)
    rated = [key for key in now.rated if key in before.rated]
    scales = calibration_of(member.team_id).scales
    return check_arrival(before.brews, now.brews, rated=rated, even_brew=now.even_brew, scales=scales)


def arrival_check_for(member: Member, lot: UUID) -> LotArrival:
    """Compare an arrived lot with its sample; raise NotFound for no such lot."""
    record_for(member, "lot", lot)
    sample = Lot.objects.get(id=lot).from_lot_id
    if sample is None:
        return LotArrival(lot, None, None, ())
    check = check_lots(member, sample=sample, arrived=lot)
    tests = TriangleTest.objects.filter(team_id=member.team_id, lot_id=lot, against_id=sample).order_by("held_on", "id")
    return LotArrival(lot, sample, check, list(tests.prefetch_related("trials")))
