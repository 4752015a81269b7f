"""How to brew a lot in a particular pot."""

from uuid import UUID

from tastings.maths.guide import Guide, Pot, guide
from tastings.queries.brews import tastings_of
from tastings.queries.panels import calibration_of
from tastings.queries.records import record_for
from teams.models import Member


def guide_for(member: Member, lot: UUID, *, pot: Pot) -> Guide:
    """Compute the guide from the lot's shared sessions as they are now; raise NotHere when there is no such lot."""
    record_for(member, "lot", lot)
    known = calibration_of(member.team_id)
    return guide(tastings_of(lot).brews, pot=pot, scales=known.scales, line=known.line)
