"""How to brew a lot in a particular pot, and in the pot that a shop uses most."""

from collections import Counter
from dataclasses import dataclass
from statistics import median
from typing import Any
from uuid import UUID

from tastings.maths.brewing.brews import BrewError
from tastings.maths.guide.answer import Guide
from tastings.maths.guide.guests import Price
from tastings.maths.guide.plan import Tea, brew_guide
from tastings.maths.guide.pots import Pot
from tastings.models import Infusion, Session
from tastings.queries.brews import load_brews
from tastings.queries.panels import calibration_of
from tastings.queries.records import record_for, shared_sessions
from teams.models import Member

LATEST_SESSIONS = 40
"""So many latest sessions show a shop's usual pot."""
_VESSEL = ("vessel_ml", "vessel_material", "warmed", "altitude_m")


@dataclass(frozen=True, slots=True, kw_only=True)
class UsualPot:
    """The vessel most used in the latest sessions of a shop, or of the whole team.

    ``pour_s`` is the median of those sessions, None when none was written down; ``sessions`` is how many were counted,
    0 for the even brew's vessel when nobody has brewed; ``shop`` is the shop's name, None for the whole team.
    """

    vessel_ml: float = 110.0
    vessel_material: str = "porcelain"
    warmed: bool = True
    altitude_m: float | None = None
    pour_s: int | None = None
    sessions: int = 0
    shop: str | None = None


@dataclass(frozen=True, slots=True)
class UsualPotGuide:
    """How to brew a lot in the usual pot."""

    guide: Guide
    pot: UsualPot


def guide_for(member: Member, lot: UUID, *, pot: Pot) -> Guide:
    """Compute the guide from the lot's shared sessions as they are now.

    Raises
    ------
    NotFound
        The team has no such lot.
    PotError
        The pot does not go with its style, or its cups cannot be predicted.
    """
    fields: Any = record_for(member, "lot", lot).fields
    price = None
    if fields["price_per_kg"] is not None:
        price = Price(per_kg=float(fields["price_per_kg"]), currency=fields["currency"] or None)
    known = calibration_of(member.team_id)
    return brew_guide(
        load_brews(lot).brews,
        pot=pot,
        tea=Tea(kind=fields["kind"] or "", price=price),
        scales=known.scales,
        line=known.line,
    )


def guide_in_usual_pot(member: Member, lot: UUID, *, pot: UsualPot) -> UsualPotGuide | None:
    """Compute the guide for the usual pot; None when the pot's own figures are beyond what can be predicted."""
    asked = Pot(
        vessel_ml=pot.vessel_ml,
        vessel_material=pot.vessel_material,
        warmed=pot.warmed,
        altitude_m=pot.altitude_m,
        pour_s=pot.pour_s,
    )
    try:
        return UsualPotGuide(guide_for(member, lot, pot=asked), pot)
    except BrewError:
        return None


def usual_pot_of(member: Member) -> UsualPot:
    """Return the usual pot of the member's shop, or of the team when it has none.

    Leaf and heat belong to the tea: the guide takes them from the lot's own sessions.
    """
    everywhere = Session.objects.filter(shared_sessions(), team_id=member.team_id, removed=False)
    here = everywhere.filter(shop_id=member.shop_id) if member.shop_id else everywhere
    for rows, shop in ((here, member.shop.name if member.shop else None), (everywhere, None)):
        latest = list(rows.order_by("-started_at", "id").values("id", *_VESSEL)[:LATEST_SESSIONS])
        if not latest:
            continue
        vessels = Counter(tuple(one[name] for name in _VESSEL) for one in latest)
        usual = max(vessels, key=lambda vessel: (vessels[vessel], str(vessel)))
        sessions = [one["id"] for one in latest if tuple(one[name] for name in _VESSEL) == usual]
        pours = Infusion.objects.filter(session_id__in=sessions, removed=False, number__gt=0)
        poured_s = [float(pour_s) for pour_s in pours.values_list("pour_s", flat=True) if pour_s is not None]
        vessel_ml, material, warmed, altitude_m = usual
        return UsualPot(
            vessel_ml=vessel_ml,
            vessel_material=material or "porcelain",
            warmed=warmed is not False,
            altitude_m=altitude_m,
            pour_s=round(median(poured_s)) if poured_s else None,
            sessions=len(latest),
            shop=shop,
        )
    return UsualPot()
