"""Two questions a buyer asks of a lot: has its roast rested enough, and is it the tea of its sample."""

from collections.abc import Mapping
from datetime import date
from uuid import UUID

from lots.models import Lot
from tastings.maths.comparison.arrival import arrival
from tastings.maths.roast.readiness import CANNOT_TELL, DatedBrew, readiness
from tastings.models import Session, TriangleTest
from tastings.queries.brews import load_brews
from tastings.queries.panels import calibration_of
from tastings.queries.records import record_for
from tastings.queries.triangles import triangle_shown
from teams.models import Member


def readiness_for(member: Member, lot: UUID, *, today: date, level: float | None) -> Mapping[str, object]:
    """Return whether the roast is under a level, by default the team's own; raise NotHere for no such lot."""
    record_for(member, "lot", lot)
    roasted_on = Lot.objects.values_list("roasted_on", flat=True).get(id=lot)
    wanted = member.team.ready_roast if level is None else level
    if roasted_on is None:
        reason = "Cannot tell: the lot does not say when it was roasted."
        return {"lot": str(lot), "verdict": CANNOT_TELL, "reason": reason, "level": wanted, "roasted_on": None}
    tastings = load_brews(lot)
    started = dict(Session.objects.filter(lot_id=lot).values_list("id", "started_at"))
    dated = [DatedBrew(day=started[UUID(brew.session)].date(), brew=brew) for brew in tastings.brews]
    scales = calibration_of(member.team_id).scales
    found = readiness(dated, roasted_on=roasted_on, today=today, level=wanted, scales=scales)
    return {"lot": str(lot), **found.as_json()}


def arrival_check_for(member: Member, lot: UUID) -> Mapping[str, object]:
    """Return whether an arrived lot matches the sample it was bought on, and the triangle tests of the two."""
    record_for(member, "lot", lot)
    sample = Lot.objects.get(id=lot).from_lot_id
    if sample is None:
        reason = "Cannot tell: the lot does not say which sample it was bought on."
        return {"lot": str(lot), "sample": None, "verdict": CANNOT_TELL, "reason": reason, "triangle_tests": []}
    before, now = load_brews(sample), load_brews(lot)
    rated = [key for key in now.rated if key in before.rated]
    found = arrival(before.brews, now.brews, rated=rated, scales=calibration_of(member.team_id).scales)
    tests = TriangleTest.objects.filter(team_id=member.team_id, lot_id=lot, against_id=sample).order_by("held_on", "id")
    return {
        "lot": str(lot),
        "sample": str(sample),
        **found.as_json(),
        "triangle_tests": [triangle_shown(test) for test in tests.prefetch_related("trials")],
    }
