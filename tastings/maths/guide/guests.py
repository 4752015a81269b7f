"""Leaf and water for guests, caffeine as a range, and what a cup costs.

Caffeine. How much a leaf holds depends on its kind: 23.8 mg per g (an oolong), 32.8 (black) and 36.6 (green) over three
five-minute steeps of boiling water in Hicks, Hsieh and Bell 1996 (Food Research International 29:325), and means of
classes from 27 (oolong) to 43 (yellow) in a survey. Lots of one kind are taken to differ by 15 % either way (our own
value, no source). In Hicks those steeps gave 69, 23 and 8 % of it, which first-order leaching with k = 0.195 /min
(loose leaf) to 0.258 /min (bags) in their cooling pots reproduces. The least here is the poorest leaf at 0.195 /min,
held up by wetting for 17 s (longest delay seen at 85 to 100 deg C, a study of green and black tea) and by water below
100 deg C; the most is the richest at 0.258 /min in a pot like theirs (taken to be the small one of ISO 3103), without
delay. Nothing here
says what caffeine does to anyone.
"""

from dataclasses import dataclass, replace
from math import ceil

import numpy as np

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import Pour
from tastings.maths.brewing.even_brew import even_brew
from tastings.maths.brewing.extraction import extracted_shares
from tastings.maths.brewing.heat import Steeping, steeping_of
from tastings.maths.guide.pots import Vessel

LOTS_DIFFER = 0.15
_CLASS_MEANS_MG_PER_G = {"oolong": (23.8, 27.0), "black": (32.8, 32.8), "green": (36.6, 36.6), "yellow": (43.0, 43.0)}
_ANY_KIND_MG_PER_G = (23.8, 43.0)
SLOW_PER_MIN, QUICK_PER_MIN = 0.195, 0.258
DELAY_S = 17.0


@dataclass(frozen=True, slots=True)
class Serving:
    """What to set out for the guests."""

    guests: int  # who is served; each gets `cup_ml` of each round [ml]
    cup_ml: float
    pots: int  # portions of leaf, brewed side by side or one after the other
    rounds: int | None  # infusions worth drinking; None while unknown
    leaf_g: float  # leaf for all pots [g]
    round_ml: float  # water of one round in all pots [ml]
    # rinse_ml, warming_ml: water of the rinse, and to warm the pots [ml]
    rinse_ml: float
    warming_ml: float
    total_ml: float | None  # water to heat for everything; None while the rounds are unknown [ml]


@dataclass(frozen=True, slots=True)
class Caffeine:
    """Least and most caffeine of an average cup, of one pot to the last worthwhile infusion, and of one guest [mg]."""

    per_cup_mg: tuple[float, float]
    per_pot_mg: tuple[float, float]
    per_guest_mg: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Price:
    """What a lot costs per kg, and in which currency (ISO 4217; None when not recorded)."""

    per_kg: float
    currency: str | None


@dataclass(frozen=True, slots=True)
class Cost:
    """What the leaf of a cup, a litre and a pot costs; cup and litre None while no cup is worth drinking."""

    per_cup: float | None
    per_litre: float | None
    per_pot: float
    currency: str | None


def serving(*, vessel: Vessel, guests: int, cup_ml: float, rounds: int | None, rinsed: bool) -> Serving:
    """Return leaf and water for guests.

    Examples
    --------
    >>> pot = Vessel(leaf_g=5.0, vessel_ml=110.0)
    >>> found = serving(vessel=pot, guests=5, cup_ml=50.0, rounds=6, rinsed=True)
    >>> found.pots, found.leaf_g, found.total_ml
    (3, 15.0, 2640.0)
    """
    pots = max(ceil(guests * cup_ml / vessel.vessel_ml - 1e-9), 1)
    all_ml = pots * vessel.vessel_ml
    rinse_ml, warming_ml = all_ml if rinsed else 0.0, all_ml if vessel.warmed else 0.0
    return Serving(
        guests=guests,
        cup_ml=cup_ml,
        pots=pots,
        rounds=rounds,
        leaf_g=pots * vessel.leaf_g,
        round_ml=all_ml,
        rinse_ml=rinse_ml,
        warming_ml=warming_ml,
        total_ml=None if rounds is None else rounds * all_ml + rinse_ml + warming_ml,
    )


def caffeine_mg_per_g(kind: str) -> tuple[float, float]:
    """Return the least and the most caffeine that leaf of a kind of tea holds [mg per g].

    Examples
    --------
    >>> [round(mg, 1) for mg in caffeine_mg_per_g("oolong")]
    [20.2, 31.0]
    """
    low, high = _CLASS_MEANS_MG_PER_G.get(kind, _ANY_KIND_MG_PER_G)
    return low * (1 - LOTS_DIFFER), high * (1 + LOTS_DIFFER)


def caffeine(*, vessel: Vessel, kind: str, pours: tuple[Pour, ...], cup_ml: float, rounds: int) -> Caffeine | None:
    """Return the caffeine in the first ``rounds`` infusions; the rinse is thrown away. None without an infusion.

    Parameters
    ----------
    vessel : Vessel
        Leaf and water.
    kind : str
        Of tea.
    pours : tuple[Pour, ...]
        All pours in order, a rinse (number 0) among them.
    cup_ml : float
        What a cup holds. [ml]
    rounds : int
        How many infusions are drunk.
    """
    drunk = [place for place, pour in enumerate(pours) if 0 < pour.number <= rounds]
    if not drunk:
        return None
    least, most = caffeine_shares(steeping_of(vessel.brew(pours), pours))
    low_mg, high_mg = (vessel.leaf_g * mg_per_g for mg_per_g in caffeine_mg_per_g(kind))
    cups = cup_ml / vessel.vessel_ml
    pot = low_mg * float(least[drunk].sum()), high_mg * float(most[drunk].sum())
    return Caffeine(
        per_cup_mg=(pot[0] * cups / len(drunk), pot[1] * cups / len(drunk)),
        per_pot_mg=pot,
        per_guest_mg=(pot[0] * cups, pot[1] * cups),
    )


def caffeine_shares(steeping: Steeping) -> tuple[FloatArray, FloatArray]:
    """Return the share of a leaf's caffeine that each pour takes at the slowest and at the quickest."""
    slow = extracted_shares(steeping, k_per_min=np.array([SLOW_PER_MIN]), tau_s=np.array([DELAY_S]))[0, 0]
    quick = extracted_shares(steeping, k_per_min=np.array([QUICK_PER_MIN / _pot_of_hicks()]), tau_s=np.array([0.1]))[
        0, 0
    ]
    return slow, quick


def cost(price: Price | None, *, vessel: Vessel, cup_ml: float, rounds: int | None) -> Cost | None:
    """Return what the leaf costs; None without a price."""
    if price is None:
        return None
    per_pot = price.per_kg * vessel.leaf_g / 1000
    per_ml = per_pot / (rounds * vessel.vessel_ml) if rounds else None
    return Cost(
        per_cup=None if per_ml is None else per_ml * cup_ml,
        per_litre=None if per_ml is None else per_ml * 1000,
        per_pot=per_pot,
        currency=price.currency,
    )


def _pot_of_hicks() -> float:
    """Return the mean rate factor over five minutes in a small pot of ISO 3103, against 100 deg C throughout."""
    pot = Vessel(leaf_g=2.8, vessel_ml=140.0, vessel_g=118.0, warmed=False)
    pour = replace(even_brew().pours[1], steep_s=300.0, pour_s=0.0, water_ml=None)
    return float(steeping_of(pot.brew((pour,)), (pour,)).rate[0])
