"""Whether a lot's roast has rested enough."""

from dataclasses import dataclass
from datetime import date
from uuid import UUID

from lots.models import Lot
from tastings.maths.roast.readiness import DatedBrew, Readiness, readiness
from tastings.models import Session
from tastings.queries.brews import load_brews
from tastings.queries.panels import calibration_of
from tastings.queries.records import record_for
from teams.models import Member


@dataclass(frozen=True, slots=True)
class LotReadiness:
    """The level of roast asked about, and what is known; None for a lot without a day of roasting."""

    lot: UUID
    level: float
    found: Readiness | None


def readiness_for(member: Member, lot: UUID, *, today: date, level: float | None) -> LotReadiness:
    """Return whether the roast is under a level, by default the team's own; raise NotFound for no such lot."""
    record_for(member, "lot", lot)
    roasted_on = Lot.objects.values_list("roasted_on", flat=True).get(id=lot)
    wanted = member.team.ready_roast if level is None else level
    if roasted_on is None:
        return LotReadiness(lot, wanted, None)
    tastings = load_brews(lot)
    started = dict(Session.objects.filter(lot_id=lot).values_list("id", "started_at"))
    dated = [DatedBrew(day=started[UUID(brew.session)].date(), brew=brew) for brew in tastings.brews]
    scales = calibration_of(member.team_id).scales
    found = readiness(
        dated, roasted_on=roasted_on, today=today, level=wanted, even_brew=tastings.even_brew, scales=scales
    )
    return LotReadiness(lot, wanted, found)
