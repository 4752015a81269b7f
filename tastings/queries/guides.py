"""How to brew a lot in a particular pot."""

from typing import Any
from uuid import UUID

from tastings.maths.guide.answer import Guide
from tastings.maths.guide.guests import Price
from tastings.maths.guide.plan import Tea, guide
from tastings.maths.guide.pots import Pot
from tastings.queries.brews import tastings_of
from tastings.queries.panels import calibration_of
from tastings.queries.records import record_for
from teams.models import Member


def guide_for(member: Member, lot: UUID, *, pot: Pot) -> Guide:
    """Compute the guide from the lot's shared sessions as they are now.

    Raises
    ------
    NotHere
        The team has no such lot.
    PotError
        What was said of the pot does not go with its style, or cannot be foretold.
    """
    fields: Any = record_for(member, "lot", lot).fields
    price = None
    if fields["price_per_kg"] is not None:
        price = Price(per_kg=float(fields["price_per_kg"]), currency=fields["currency"] or None)
    known = calibration_of(member.team_id)
    return guide(
        tastings_of(lot).brews,
        pot=pot,
        tea=Tea(kind=fields["kind"] or "", price=price),
        scales=known.scales,
        line=known.line,
    )
