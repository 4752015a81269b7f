"""How to brew a lot in a particular pot, and in a shop's usual one."""

from collections import Counter
from dataclasses import dataclass, replace
from statistics import median
from uuid import UUID

from tastings.maths.brewing.brews import BrewError
from tastings.maths.guide.answer import Guide
from tastings.maths.guide.guests import Price
from tastings.maths.guide.plan import Tea, brew_guide
from tastings.maths.guide.pots import SMALL_POT, PotRequest
from tastings.models import Infusion, Pot, Session
from tastings.queries.brews import load_brews
from tastings.queries.cache import LRUCache
from tastings.queries.panels import calibration_of
from tastings.queries.records import record_for, shared_sessions
from teams.models import Member, Shop

LATEST_SESSIONS = 40
"""How many of the latest sessions show the usual pot of a shop that has not named one."""
_VESSEL = ("vessel_ml", "vessel_material", "warmed", "altitude_m")


@dataclass(frozen=True, slots=True, kw_only=True)
class UsualPot:
    """The pot that a shop has named, else the vessel most used in its latest sessions, or in those of the whole team.

    Or the reader's own pot (``is_own``), for so many guests and with the kettle at ``kettle_c``.

    ``name`` is that of the named pot, whose own leaf, pour and weight count where it has them. Without one ``pour_s``
    is the median of the sessions, None when none was written down; ``sessions`` is how many were counted, 0 for the
    even brew's vessel when nobody has brewed; ``shop`` is the shop's name, None for the whole team.
    """

    vessel_ml: float = 110.0
    vessel_material: str = "porcelain"
    warmed: bool = True
    altitude_m: float | None = None
    pour_s: int | None = None
    vessel_g: float | None = None
    leaf_g: float | None = None
    name: str | None = None
    sessions: int = 0
    shop: str | None = None
    kettle_c: float | None = None
    guests: int | None = None
    is_own: bool = False

    def as_asked(self) -> PotRequest:
        """Return it as the guide takes it."""
        return PotRequest(
            vessel_ml=self.vessel_ml,
            vessel_material=self.vessel_material,
            warmed=self.warmed,
            altitude_m=self.altitude_m,
            pour_s=self.pour_s,
            vessel_g=self.vessel_g,
            leaf_g=self.leaf_g,
            kettle_c=self.kettle_c,
            guests=self.guests,
        )

    def with_own(self, own: PotRequest | None) -> "UsualPot":
        """Return the reader's own pot, completed with values of this one if it can be the same vessel."""
        if own is None:
            return self
        is_this = (own.vessel_ml, own.vessel_material) == (self.vessel_ml, self.vessel_material)
        return replace(
            self,
            vessel_ml=self.vessel_ml if own.vessel_ml is None else own.vessel_ml,
            vessel_material=own.vessel_material or self.vessel_material,
            vessel_g=self.vessel_g if is_this else None,
            leaf_g=own.leaf_g or (self.leaf_g if is_this else None),
            kettle_c=own.kettle_c,
            guests=own.guests,
            name=None,
            is_own=True,
        )


_usual_pots: LRUCache[UsualPot] = LRUCache(100)


@dataclass(frozen=True, slots=True)
class UsualPotGuide:
    """How to brew a lot in the usual pot."""

    guide: Guide
    pot: UsualPot


def guide_for(member: Member, lot: UUID, *, pot: PotRequest) -> Guide:
    """Compute the guide from the lot's shared sessions as they are now.

    Raise NotFound for an unknown lot, PotError if the pot does not go with its style or its cups cannot be predicted.
    """
    fields = record_for(member, "lot", lot).fields
    price = None
    if (per_kg := fields["price_per_kg"]) is not None:
        price = Price(per_kg=float(str(per_kg)), currency=str(fields["currency"] or "") or None)
    known = calibration_of(member.team_id)
    return brew_guide(
        load_brews(lot).brews,
        pot=pot,
        tea=Tea(kind=str(fields["kind"] or ""), price=price),
        scales=known.scales,
        line=known.line,
    )


def guide_in_usual_pot(member: Member, lot: UUID, *, pot: UsualPot) -> UsualPotGuide | None:
    """Compute the guide for the usual pot; None when the pot's own figures are beyond what can be predicted."""
    try:
        return UsualPotGuide(guide_for(member, lot, pot=pot.as_asked()), pot)
    except BrewError:
        return None


def in_named_pot(member: Member, pot: PotRequest) -> PotRequest:
    """Return the pot with what the shop's named pot has, if a request for a small pot describes no vessel."""
    if pot.style != SMALL_POT or any(value is not None for value in (pot.vessel_ml, pot.vessel_material, pot.vessel_g)):
        return pot
    named = _named_pot(member)
    if named is None:
        return pot
    return replace(
        pot,
        vessel_ml=named.vessel_ml,
        vessel_material=named.vessel_material,
        vessel_g=named.vessel_g,
        leaf_g=named.leaf_g if pot.leaf_g is None else pot.leaf_g,
        pour_s=named.pour_s if pot.pour_s is None else pot.pour_s,
    )


def _named_pot(member: Member) -> Pot | None:
    """Return the pot that the member's shop has named, unless it was deleted."""
    if member.shop_id is None:
        return None
    named = Shop.objects.filter(team_id=member.team_id, id=member.shop_id).values("usual_pot")
    return Pot.objects.filter(team_id=member.team_id, id__in=named, removed=False).first()


def usual_pot_at(member: Member, *, state: tuple[object, ...]) -> UsualPot:
    """Return the usual pot, computed once for a ``state``, which changes with the team's records and with the shop."""
    return _usual_pots.get_or_compute((member.team_id, member.shop_id, *state), lambda: usual_pot_of(member))


def usual_pot_of(member: Member) -> UsualPot:
    """Return the usual pot of the member's shop, or of the team when it has none.

    Heat belongs to the tea, and so does leaf unless the named pot has its own: the guide takes them from the lot's
    sessions.
    """
    named = _named_pot(member)
    guessed = _most_used_pot(member, with_pour=named is None)
    if named is None:
        return guessed
    return UsualPot(
        vessel_ml=named.vessel_ml,
        vessel_material=named.vessel_material,
        vessel_g=named.vessel_g,
        leaf_g=named.leaf_g,
        pour_s=None if named.pour_s is None else round(named.pour_s),
        altitude_m=guessed.altitude_m if guessed.shop else None,
        name=named.name,
        shop=member.shop.name if member.shop else None,
    )


def _most_used_pot(member: Member, *, with_pour: bool) -> UsualPot:
    everywhere = Session.objects.filter(shared_sessions(), team_id=member.team_id, removed=False)
    here = everywhere.filter(shop_id=member.shop_id) if member.shop_id else everywhere
    for rows, shop in ((here, member.shop.name if member.shop else None), (everywhere, None)):
        # by when the server first had them: a session that claims a day in the future stays the latest for ever
        ordered = rows.order_by("-created_at", "-started_at", "id")
        latest = list(ordered.values("id", *_VESSEL)[:LATEST_SESSIONS])
        if not latest:
            continue
        vessels = Counter(tuple(row[name] for name in _VESSEL) for row in latest)
        usual = max(vessels, key=lambda vessel: (vessels[vessel], str(vessel)))
        sessions = [row["id"] for row in latest if with_pour and tuple(row[name] for name in _VESSEL) == usual]
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
