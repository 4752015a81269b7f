"""How strong a tea will be in another vessel, cup by cup, and how likely it is that the difference is noticed.

The same leaf per water, kettle and steeps in two vessels: what differs is the heat that the vessel takes, by its
material, its mass and whether it is warmed (:mod:`tastings.maths.brewing.heat`). What else a vessel does, such as an
unglazed pot that keeps flavours of former teas, is not computed.

Uncertain are the leaf, the heat at which it was tasted, the activation energy and the mass of a vessel that was not
weighed. Draws of the leaf are dealt in turn to a few draws of the others, the same for both vessels where they share
them. How often such forecasts were right in simulated tastings: ``docs/forecasts.md``.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median

import numpy as np
from scipy.special import ndtri

from tastings.maths.arrays import BoolArray, FloatArray
from tastings.maths.brewing.brews import Brew, TasterScale
from tastings.maths.brewing.even_brew import EVEN_INFUSIONS, EvenBrew
from tastings.maths.brewing.heat import EA_KJ_MOL, Steeping, steeping_of, vessel_mass_g
from tastings.maths.certainty import never_certain
from tastings.maths.curve.evidence import PreparedSession
from tastings.maths.curve.heat_error import EA_SD_KJ_MOL, rate_error
from tastings.maths.curve.model_error import ModelError
from tastings.maths.curve.profile import summarise_cups
from tastings.maths.guide.leaf import STRENGTH, KnownLeaf, Leaf, known_leaf
from tastings.maths.guide.pots import PotRequest, Vessel, small_pot
from tastings.maths.guide.usual_brew import UsualBrew

NOTICEABLE = 0.5
"""A smaller difference in strength is seldom noticed (own rule; the step in which many rate). [points]"""
MASS_SPREAD = 0.3
"""Sd of the log mass of a vessel that was not weighed (own value)."""
N_ERRORS = 16
_STEPS = 2**0.5 - 1, 3**0.5 - 1, 5**0.5 - 2, 7**0.5 - 2  # one lattice for each uncertain figure


@dataclass(frozen=True, slots=True)
class CupStrength:
    """Mean strength of a cup, with its central 80 %. [points, 0 to 10]."""

    mean: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class CupForecast:
    """One cup in the first and in the other vessel.

    ``stronger`` and ``weaker`` are the probabilities that the other vessel's cup differs by more than
    :data:`NOTICEABLE` points.
    """

    infusion: int
    first: CupStrength
    other: CupStrength
    stronger: float
    weaker: float


@dataclass(frozen=True, slots=True)
class VesselForecast:
    """The same leaf, water and steeps in another vessel."""

    # first, other: the vessel in which the lot was tasted most often, and the one asked about
    first: Vessel
    other: Vessel
    contact_s: float  # of every infusion [s]
    rated_to: int  # last infusion whose strength anybody rated; cups beyond are foretold from the leaf alone
    cups: tuple[CupForecast, ...]  # infusions 1 to 12
    # stronger, weaker: probabilities for the mean of those cups that are above the finish line in the first vessel, the
    # first at least
    stronger: float
    weaker: float
    good_cups: int  # how many these are


def vessel_forecast(
    brews: Sequence[Brew],
    *,
    pot: PotRequest,
    even_brew: EvenBrew,
    scales: Mapping[str, Mapping[str, TasterScale]] | None = None,
) -> VesselForecast | None:
    """Foretell a lot's cups in another vessel; None while nobody has rated the strength of a cup.

    Parameters
    ----------
    brews : Sequence[Brew]
        The lot's sessions.
    pot : PotRequest
        The other vessel, a small pot; leaf per water and heat are those of the lot's tastings where it has none.
    even_brew, scales
        As in :func:`tastings.maths.curve.estimate.estimate_development`.

    Raises
    ------
    PotError
        Its cups cannot be predicted.
    BrewError
        A number of a brew cannot be one.
    """
    pot.check_fit()
    known = known_leaf(brews, even_brew=even_brew, scales=scales)
    usual = UsualBrew.of(known.followed)
    if known.leaf is None or usual is None:
        return None
    first = _tasted_in(known.followed, usual=usual)
    return _forecast(known, known.leaf, first=first, other=_other(pot, first=first), rinsed=usual.rinsed)


def _other(pot: PotRequest, *, first: Vessel) -> Vessel:
    """Return the vessel asked about; what it does not say is as in the first."""
    vessel_ml = first.vessel_ml if pot.vessel_ml is None else pot.vessel_ml
    return small_pot(
        replace(
            pot,
            vessel_ml=vessel_ml,
            vessel_material=pot.vessel_material or first.vessel_material,
            leaf_g=first.leaf_g / first.vessel_ml * vessel_ml if pot.leaf_g is None else pot.leaf_g,
            kettle_c=first.kettle_c if pot.kettle_c is None else pot.kettle_c,
            warmed=first.warmed if pot.warmed is None else pot.warmed,
            altitude_m=first.altitude_m if pot.altitude_m is None else pot.altitude_m,
        )
    )


def _tasted_in(followed: Sequence[PreparedSession], *, usual: UsualBrew) -> Vessel:
    """Return the vessel of most sessions, with leaf and heat as usual for the lot."""
    vessels = Counter((s.brew.vessel_material, s.brew.vessel_ml, s.brew.vessel_g, s.brew.warmed) for s in followed)
    material, vessel_ml, vessel_g, warmed = max(vessels, key=lambda vessel: (vessels[vessel], str(vessel)))
    return Vessel(
        leaf_g=usual.leaf_g_per_ml * vessel_ml,
        vessel_ml=vessel_ml,
        kettle_c=usual.kettle_c,
        vessel_material=material,
        vessel_g=vessel_g,
        warmed=warmed,
        altitude_m=median(session.brew.altitude_m or 0.0 for session in followed),
    )


def _forecast(known: KnownLeaf, leaf: Leaf, *, first: Vessel, other: Vessel, rinsed: bool) -> VesselForecast:
    even = leaf.even_brew
    rated = [pour.number for session in known.followed for pour in session.brew.pours if STRENGTH in pour.ratings]
    error = rate_error(known.followed, even_brew=even)
    quantiles = [(0.5 + np.arange(N_ERRORS) * step) % 1.0 for step in _STEPS]
    z_rate, z_ea, z_first, z_other = (ndtri(q) for q in quantiles)
    if _kind_of(first) == _kind_of(other):
        z_other = z_first  # one vessel, whatever it weighs
    cups_first, cups_other = (np.empty((leaf.level.size, EVEN_INFUSIONS)) for _ in range(2))
    for i in range(N_ERRORS):
        dealt = slice(i, None, N_ERRORS)
        part = replace(
            leaf,
            k_per_min=leaf.k_per_min[dealt] * np.exp(error.mean + error.sd * z_rate[i]),
            tau_s=leaf.tau_s[dealt],
            n=leaf.n[dealt],
            level=leaf.level[dealt],
        )
        in_first, in_other = (
            _steeping(_of_mass(vessel, z=z[i]), contact_s=even.contact_s, rinse_s=even.rinse_s if rinsed else None)
            for vessel, z in ((first, z_first), (other, z_other))
        )
        # Another activation energy raises the ratio of the two rates to a power; the lot was tasted in the first.
        power = 1 + EA_SD_KJ_MOL / EA_KJ_MOL * z_ea[i]
        cups_first[dealt] = part.steeped(in_first)[:, -EVEN_INFUSIONS:]
        cups_other[dealt] = part.steeped(
            replace(in_other, rate=in_first.rate * (in_other.rate / in_first.rate) ** power)
        )[:, -EVEN_INFUSIONS:]
    open_ = ModelError.of(rated, strength=cups_first.mean(axis=0))
    cups_first, cups_other = open_.applied(cups_first), open_.applied(cups_other)
    good = max(int((cups_first.mean(axis=0) > leaf.finish_line).sum()), 1)
    strengths_first, strengths_other = (_strengths(cups) for cups in (cups_first, cups_other))
    difference = cups_other - cups_first
    of_good = difference[:, :good].mean(axis=1)
    return VesselForecast(
        first=first,
        other=other,
        contact_s=even.contact_s,
        rated_to=max(rated),
        cups=tuple(
            CupForecast(
                infusion=n + 1,
                first=strengths_first[n],
                other=strengths_other[n],
                stronger=_share(difference[:, n] > NOTICEABLE),
                weaker=_share(difference[:, n] < -NOTICEABLE),
            )
            for n in range(EVEN_INFUSIONS)
        ),
        stronger=_share(of_good > NOTICEABLE),
        weaker=_share(of_good < -NOTICEABLE),
        good_cups=good,
    )


def _of_mass(vessel: Vessel, *, z: float) -> Vessel:
    """Return a vessel that was not weighed with a mass of so many sds from the usual one."""
    if vessel.vessel_g is not None:
        return vessel
    likely_g = vessel_mass_g(vessel_ml=vessel.vessel_ml, material=vessel.vessel_material)
    return replace(vessel, vessel_g=likely_g * float(np.exp(MASS_SPREAD * z)))


def _steeping(vessel: Vessel, *, contact_s: float, rinse_s: float | None) -> Steeping:
    contacts = [(number, contact_s) for number in range(1, EVEN_INFUSIONS + 1)]
    if rinse_s is not None:
        contacts.insert(0, (0, rinse_s))
    pours = tuple(replace(vessel.pour(number, steep_s=steep_s), pour_s=0.0) for number, steep_s in contacts)
    return steeping_of(vessel.brew(pours), pours)


def _kind_of(vessel: Vessel) -> tuple[str, float, float | None]:
    return vessel.vessel_material, vessel.vessel_ml, vessel.vessel_g


def _strengths(cups: FloatArray) -> list[CupStrength]:
    shown = summarise_cups(cups)
    return [CupStrength(*map(float, cup)) for cup in zip(shown.mean, shown.low, shown.high, strict=True)]


def _share(these: BoolArray) -> float:
    return never_certain(float(these.mean()))
