"""The input of every computation: sessions with their pours and ratings.

No database access: callers convert their rows to :class:`Brew`. Unknown values are ``None`` and get the defaults of
:mod:`tastings.maths.brewing.heat`.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite

LOWEST, HIGHEST = 0.0, 10.0


class BrewError(ValueError):
    """A number of a brew is not finite, is negative where it cannot be, or is a weight or volume of 0."""


class RatingError(BrewError):
    """A rating is not a finite number from 0 to 10."""


@dataclass(frozen=True, slots=True)
class Pour:
    """One infusion of a session."""

    number: int  # 0 for the rinse, then 1, 2, ...
    steep_s: float  # from the end of filling to the start of pouring [s]
    pour_s: float | None  # how long the pot takes to empty [s]
    kettle_c: float  # water in the kettle [deg C]
    water_ml: float | None  # water poured on [ml]
    rest_s: float | None  # from the end of this pour to the filling of the next [s]
    ratings: Mapping[str, float]  # descriptor key to intensity in the mouth [points, 0 to 10]
    noted: frozenset[str]  # descriptor keys present but not rated
    tasted: bool  # False for a pour that nobody drank, such as a discarded rinse
    kettle_read: bool = True  # False where nobody read the kettle and `kettle_c` is what it usually is


@dataclass(frozen=True, slots=True)
class Brew:
    """One session: one portion of leaf, one taster, its pours."""

    # session, taster: identifiers; only compared, never shown as names
    session: str
    taster: str
    shop: str | None  # where it was brewed
    leaf_g: float  # dry leaf [g]
    vessel_ml: float  # what the vessel holds [ml]
    vessel_material: str  # a key of `tastings.maths.brewing.heat.MATERIALS`; an unknown one counts as porcelain
    vessel_g: float | None  # mass of the vessel with its lid [g]
    warmed: bool  # rinsed with boiling water before the leaf went in
    room_c: float | None  # air [deg C]
    altitude_m: float | None  # height above the sea [m]
    # `spent` when the leaf was exhausted, `stopped` when the taster stopped earlier, None when not noted
    ending: str | None
    # more_low, more_high: the taster's guess of how many infusions the leaf still had
    more_low: int | None
    more_high: int | None
    pours: tuple[Pour, ...]  # in any order
    form: str = ""  # of the lot's leaf, as the lot has it; empty while not known


@dataclass(frozen=True, slots=True)
class TasterScale:
    """How a taster uses the scale: a rating is ``offset`` plus ``gain`` times the team's common scale."""

    # gain, gain_sd: gain and its standard deviation; the default is that of a taster not calibrated yet [1]
    gain: float = 1.0
    # offset, offset_sd: offset and its standard deviation [points]
    offset: float = 0.0
    gain_sd: float = 0.15
    offset_sd: float = 0.5


def form_of(brews: Sequence[Brew]) -> str:
    """Return the form of a lot's leaf, empty while not known."""
    return next((brew.form for brew in brews if brew.form), "")


def validated_brews(brews: Sequence[Brew]) -> tuple[Brew, ...]:
    """Check the brews and sort them, so that results do not depend on the order in which they are given.

    Parameters
    ----------
    brews : Sequence[Brew]
        Sessions in any order.

    Returns
    -------
    tuple[Brew, ...]
        Sorted by session, then by content.

    Raises
    ------
    RatingError
        A rating is not a finite number from 0 to 10.
    BrewError
        Any other number is not finite, is negative where it cannot be, or a weight or volume is 0.
    """
    for brew in brews:
        _check_brew(brew)
    names = Counter(brew.session for brew in brews)
    return tuple(sorted(brews, key=lambda brew: (brew.session, repr(brew) if names[brew.session] > 1 else "")))


def _check_brew(brew: Brew) -> None:
    label = f"session {brew.session}"
    for name, value in (("leaf_g", brew.leaf_g), ("vessel_ml", brew.vessel_ml), ("vessel_g", brew.vessel_g)):
        if value is not None and not (isfinite(value) and value > 0):
            raise BrewError(f"{label}: {name} must be a finite number above 0, got {value}")
    for name, value in (("room_c", brew.room_c), ("altitude_m", brew.altitude_m)):
        if value is not None and not isfinite(value):
            raise BrewError(f"{label}: {name} must be finite, got {value}")
    for pour in brew.pours:
        _check_pour(pour, label=f"{label}, infusion {pour.number}")


def _check_pour(pour: Pour, *, label: str) -> None:
    if pour.number < 0:
        raise BrewError(f"{label}: infusions count from 0, the rinse")
    if not isfinite(pour.kettle_c):
        raise BrewError(f"{label}: kettle_c must be finite, got {pour.kettle_c}")
    for name, value in (("steep_s", pour.steep_s), ("pour_s", pour.pour_s), ("rest_s", pour.rest_s)):
        if value is not None and not (isfinite(value) and value >= 0):
            raise BrewError(f"{label}: {name} must be a finite number of at least 0, got {value}")
    if pour.water_ml is not None and not (isfinite(pour.water_ml) and pour.water_ml > 0):
        raise BrewError(f"{label}: water_ml must be a finite number above 0, got {pour.water_ml}")
    for key, rating in pour.ratings.items():
        if not LOWEST <= rating <= HIGHEST:  # a NaN fails both comparisons
            raise RatingError(f"{label}: {key} is rated {rating}; ratings run from 0 to 10")
