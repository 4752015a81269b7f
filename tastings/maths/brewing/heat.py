"""Contact time and temperature of each pour: heat balance, cooling, boiling point.

Water, vessel and leaf mix to one temperature, then cool to room temperature (Newton's law) during the contact. Between
pours the emptied vessel and the wet leaf keep cooling. The extraction rate is the Arrhenius factor averaged over the
contact time.

Defaults for values that a brew does not have
----------------------------------------
======================  =====================  =====================================================================
name                    default                why
======================  =====================  =====================================================================
``pour_s``              5 s                    a 110 ml bowl empties in about that (common practice, no source)
``rest_s``              60 s                   tasting and writing down one cup (common practice, no source)
``room_c``              20 deg C               usual indoor reference
``altitude_m``          0 m                    water then boils at 100 deg C; the kettle reading is used as it is
``water_ml``            the vessel's capacity  GB/T 23776 and the trade quote leaf against the capacity of the bowl
``vessel_g``            ISO 3103 pots, scaled  118 g at 150 ml and 200 g at 310 ml: 118 (V/150)^0.73, times a factor
                                               for wall and density of the material (factors from memory, low)
warmed vessel           80 deg C               boiling water poured out again (common practice, no source)
Ea                      40 kJ/mol              caffeine, Jaganyi and Price 1999: 40.3
dry leaf                1.8 J/(g K)            plant matter (from memory, low)
water held by the leaf  2.5 g per g            (from memory, low)
cooling, full vessel    0.030 /min at 300 ml   below 0.035-0.040 of an open mug (CoolingWater data): a lid is on;
                                               smaller vessels cool faster, as V^(-1/3)
======================  =====================  =====================================================================
"""

from dataclasses import dataclass
from math import exp, log10

import numpy as np
from scipy.special import roots_legendre

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import Brew, Pour

GAS_CONSTANT_KJ_MOL_K = 8.314462618e-3
EA_KJ_MOL = 40.0
REFERENCE_K = 373.15

DEFAULT_POUR_S = 5.0
DEFAULT_REST_S = 60.0
DEFAULT_ROOM_C = 20.0
WARMED_C = 80.0
WATER_J_GK = 4.2
LEAF_J_GK = 1.8
RETAINED_WATER_G_PER_G = 2.5
COOLING_PER_MIN = 0.030
COOLING_VESSEL_ML = 300.0


@dataclass(frozen=True, slots=True)
class Material:
    """What a vessel is made of: specific heat [J/(g K)] and mass against porcelain of the same size."""

    heat_j_gk: float
    mass_factor: float


MATERIALS = {
    "porcelain": Material(heat_j_gk=1.05, mass_factor=1.0),
    "unglazed_clay": Material(heat_j_gk=0.90, mass_factor=1.1),
    "glazed_stoneware": Material(heat_j_gk=0.88, mass_factor=1.3),
    "glass": Material(heat_j_gk=0.80, mass_factor=0.9),
    "silver": Material(heat_j_gk=0.235, mass_factor=1.6),
    "cast_iron": Material(heat_j_gk=0.455, mass_factor=5.0),
}

REFERENCE_G_PER_ML = 5.0 / 110.0
"""Leaf to water that counts as 1: the covered bowl of GB/T 23776."""


@dataclass(frozen=True, slots=True)
class Steeping:
    """Contact, temperature and extraction rate of each pour of one session, in pouring order."""

    contact_s: FloatArray  # float64[n_pours]: contact time [s]
    # start_c, end_c, float64[n_pours]: temperature of the liquor after mixing, and when the pot is half empty [deg C]
    start_c: FloatArray
    end_c: FloatArray
    rate: FloatArray  # float64[n_pours]: mean Arrhenius factor over the contact time [1 at a constant 100 deg C]
    ratio: FloatArray  # float64[n_pours]: leaf per water [1 at 5 g in 110 ml]


def contact_s(pour: Pour) -> float:
    """Return the contact time: the steep and half the pour, since the pot empties during the pour [s]."""
    return pour.steep_s + (DEFAULT_POUR_S if pour.pour_s is None else pour.pour_s) / 2


def boiling_point_c(altitude_m: float) -> float:
    """Return the boiling point of water at a height above the sea [deg C].

    Notes
    -----
    Pressure of the standard atmosphere, P = 101.325 (1 - 2.25577e-5 h)^5.25588 kPa, then Antoine's equation for water
    in mmHg, log10 P = 8.07131 - 1730.63 / (233.426 + T); within 0.1 deg C of IAPWS-97 from 0 to 5 km. Heights are
    clipped to -500 ... 9000 m.

    Examples
    --------
    >>> [round(boiling_point_c(h), 1) for h in (0, 1000, 3000)]
    [100.0, 96.7, 90.0]
    """
    height_m = min(max(altitude_m, -500.0), 9000.0)
    log10_mmhg = log10(760.0) + 5.25588 * log10(1 - 2.25577e-5 * height_m)
    return 1730.63 / (8.07131 - log10_mmhg) - 233.426


def mixing_temperature_c(*, water_g: float, water_c: float, vessel_j_k: float, vessel_c: float) -> float:
    """Return the temperature after water and vessel mix, without heat loss [deg C].

    Examples
    --------
    >>> round(mixing_temperature_c(water_g=140, water_c=100, vessel_j_k=118 * 0.9, vessel_c=20), 0)
    88.0
    """
    water_j_k = water_g * WATER_J_GK
    return (water_j_k * water_c + vessel_j_k * vessel_c) / (water_j_k + vessel_j_k)


def cooling_temperature_c(*, start_c: float, room_c: float, per_min: float, seconds: float) -> float:
    """Return the temperature after cooling to room temperature at a constant rate (Newton) [deg C]."""
    return room_c + (start_c - room_c) * exp(-per_min * seconds / 60)


def vessel_mass_g(*, vessel_ml: float, material: str) -> float:
    """Return a likely mass of a vessel with its lid, from the ISO 3103 pots [g]."""
    return 118.0 * float((vessel_ml / 150.0) ** 0.73) * MATERIALS.get(material, MATERIALS["porcelain"]).mass_factor


def arrhenius_factor(celsius: FloatArray | float, *, ea_kj_mol: float = EA_KJ_MOL) -> FloatArray:
    """Return the extraction rate relative to 100 deg C (Arrhenius).

    Examples
    --------
    >>> round(float(arrhenius_factor(90.0, ea_kj_mol=40.3) / arrhenius_factor(80.0, ea_kj_mol=40.3)), 2)
    1.46
    """
    kelvin = np.asarray(celsius, dtype=np.float64) + 273.15
    return np.exp(-ea_kj_mol / GAS_CONSTANT_KJ_MOL_K * (1 / kelvin - 1 / REFERENCE_K))


def steeping_of(brew: Brew, pours: tuple[Pour, ...]) -> Steeping:
    """Compute contact, temperature and extraction rate of each pour of a session.

    Parameters
    ----------
    brew : Brew
        The vessel, the leaf and the room; its own ``pours`` are not used.
    pours : tuple[Pour, ...]
        Pours in the order poured, without gaps.

    Returns
    -------
    Steeping
        One entry per pour.
    """
    material = MATERIALS.get(brew.vessel_material, MATERIALS["porcelain"])
    mass_g = brew.vessel_g or vessel_mass_g(vessel_ml=brew.vessel_ml, material=brew.vessel_material)
    room_c, filled_per_min = _cooling(brew)
    boiling_c = boiling_point_c(brew.altitude_m or 0.0)
    vessel_j_k = mass_g * material.heat_j_gk
    leaf_j_k = brew.leaf_g * LEAF_J_GK
    emptied_j_k = vessel_j_k + leaf_j_k + brew.leaf_g * RETAINED_WATER_G_PER_G * WATER_J_GK

    vessel_and_leaf_j_k = vessel_j_k + leaf_j_k
    vessel_and_leaf_c = (vessel_j_k * (WARMED_C if brew.warmed else room_c) + leaf_j_k * room_c) / vessel_and_leaf_j_k
    start, end, per_min = [], [], []
    for pour in pours:
        water_g = brew.vessel_ml if pour.water_ml is None else pour.water_ml
        kettle_c = min(max(pour.kettle_c, 0.0), boiling_c)
        start_c = mixing_temperature_c(
            water_g=water_g, water_c=kettle_c, vessel_j_k=vessel_and_leaf_j_k, vessel_c=vessel_and_leaf_c
        )
        end_c = cooling_temperature_c(start_c=start_c, room_c=room_c, per_min=filled_per_min, seconds=contact_s(pour))
        # The emptied vessel has the same surface but less heat capacity, so it cools faster.
        emptied_per_min = filled_per_min * (water_g * WATER_J_GK + vessel_and_leaf_j_k) / emptied_j_k
        rest_s = DEFAULT_REST_S if pour.rest_s is None else pour.rest_s
        vessel_and_leaf_c = cooling_temperature_c(start_c=end_c, room_c=room_c, per_min=emptied_per_min, seconds=rest_s)
        vessel_and_leaf_j_k = emptied_j_k
        start.append(start_c)
        end.append(end_c)
        per_min.append(filled_per_min)
    contact = np.array([contact_s(pour) for pour in pours])
    water_ml = np.array([brew.vessel_ml if pour.water_ml is None else pour.water_ml for pour in pours])
    return Steeping(
        contact_s=contact,
        start_c=np.array(start),
        end_c=np.array(end),
        rate=_mean_rate(np.array(start), room_c=room_c, per_min=np.array(per_min), contact=contact),
        ratio=brew.leaf_g / water_ml / REFERENCE_G_PER_ML,
    )


def rates_of_pour(brew: Brew, *, start_c: float, contact_s: FloatArray) -> FloatArray:
    """Return the rate of one pour, as in :class:`Steeping`, for each of many contact times: float64[n_times].

    ``start_c`` is its temperature after mixing [deg C], which the time does not change.
    """
    room_c, per_min = _cooling(brew)
    times = np.ones_like(contact_s)
    return _mean_rate(start_c * times, room_c=room_c, per_min=per_min * times, contact=contact_s)


def _cooling(brew: Brew) -> tuple[float, float]:
    """Return the temperature of the room [deg C] and how fast the full vessel cools [1/min]."""
    room_c = min(max(DEFAULT_ROOM_C if brew.room_c is None else brew.room_c, -10.0), 45.0)
    return room_c, COOLING_PER_MIN * (COOLING_VESSEL_ML / brew.vessel_ml) ** (1 / 3)


_NODES, _NODE_WEIGHTS = roots_legendre(8)


def _mean_rate(start_c: FloatArray, *, room_c: float, per_min: FloatArray, contact: FloatArray) -> FloatArray:
    """Average the Arrhenius factor along the cooling curve by Gauss-Legendre quadrature."""
    seconds = contact[:, None] * (_NODES + 1) / 2
    celsius = room_c + (start_c[:, None] - room_c) * np.exp(-per_min[:, None] * seconds / 60)
    return np.asarray(arrhenius_factor(celsius) @ _NODE_WEIGHTS / 2, dtype=np.float64)
