"""Whether a lot's roast has rested enough."""

from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.db.models import FloatField, Q
from django.db.models.fields.json import KeyTextTransform, KeyTransform
from django.db.models.functions import Cast

from lots.models import Lot
from tastings.maths.roast.readiness import DatedBrew, Readiness, readiness
from tastings.maths.roast.rest import liked_roast
from tastings.models import Development, Session
from tastings.queries.brews import load_brews
from tastings.queries.panels import calibration_of
from tastings.queries.records import record_for
from teams.models import Member


@dataclass(frozen=True, slots=True)
class LotReadiness:
    """The level of roast asked about, and what is known; None for a lot without a day of roasting."""

    lot: UUID
    level: float
    readiness: Readiness | None


def readiness_for(member: Member, lot: UUID, *, today: date, level: float | None) -> LotReadiness:
    """Return whether a roast has rested; raise NotFound for no such lot.

    ``level`` is the roast it should be under [points]; None takes the one the team likes at that degree of roast.
    """
    record_for(member, "lot", lot)
    roasted_on, degree = Lot.objects.values_list("roasted_on", "roast").get(id=lot)
    wanted_level = wanted_roast(member, lot) if level is None else level
    if roasted_on is None:
        return LotReadiness(lot, wanted_level, None)
    tastings = load_brews(lot)
    started = dict(Session.objects.filter(lot_id=lot).values_list("id", "started_at"))
    dated = [DatedBrew(day=started[UUID(brew.session)].date(), brew=brew) for brew in tastings.brews]
    scales = calibration_of(member.team_id).scales
    result = readiness(
        dated,
        roasted_on=roasted_on,
        today=today,
        level=wanted_level,
        degree=degree,
        even_brew=tastings.even_brew,
        scales=scales,
    )
    return LotReadiness(lot, wanted_level, result)


def wanted_roast(member: Member, lot: UUID) -> float:
    """Return the roast under which the team likes a tea of this lot's degree, from its other lots of that degree."""
    degree = Lot.objects.values_list("roast", flat=True).get(id=lot)
    figures = (
        Development.objects.filter(team_id=member.team_id, lot__roast=degree, lot__removed=False)
        .exclude(lot_id=lot)
        .annotate(roast=_good_cups("roast"), liking=_good_cups("liking"))
        .exclude(Q(roast=None) | Q(liking=None))
    )
    liked = sorted(figures.values_list("roast", "liking"))
    return liked_roast(degree, team_level=member.team.ready_roast, liked=liked)


def _good_cups(key: str) -> Cast:
    return Cast(KeyTextTransform(key, KeyTransform("good_cups", "result")), FloatField())
