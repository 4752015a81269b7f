"""Which sessions, pours and ratings can be used, and why the others are left out.

The leaf remembers every pour, so a pour is never simply dropped: one that was not recorded is filled in from its
neighbours, and one outside the range of the extraction model still drains the leaf but its ratings are not used.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from math import sqrt
from typing import Literal

import numpy as np

from tastings.maths.arrays import FloatArray, IndexArray
from tastings.maths.brewing.brews import HIGHEST, LOWEST, Brew, Pour, TasterScale
from tastings.maths.brewing.even_brew import BOILING, EVEN_VESSEL_ML
from tastings.maths.brewing.extraction import Grid, cup_strength
from tastings.maths.brewing.heat import Steeping, contact_s, steeping_of
from tastings.maths.curve.sufficient_statistics import SessionRatings

COOLEST_C = 50.0
LONGEST_S = 1200.0
RATIO_RANGE = (0.2, 5.0)  # of the even brew: 1 g to 25 g in 110 ml
VESSEL_RANGE_ML = (15.0, 3000.0)
LAST_NUMBER = 60
LONGEST_GAP = 6


Reason = Literal[
    "vessel_volume",
    "leaf_ratio",
    "no_infusion",
    "not_rated",
    "none_usable",
    "recorded_twice",
    "beyond_last",
    "gap",
    "filled_in",
    "not_tasted",
    "too_cool",
    "too_long",
    "not_steeped",
    "water_ratio",
    "outlier",
    "before_roast",
]


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A session, or one infusion of it, whose ratings are not used."""

    session: str
    infusion: int | None  # None for the whole session
    reason: Reason
    values: dict[str, float] = field(default_factory=dict)  # the reason's figures, units in their names
    descriptor: str | None = None  # of an `outlier`: the descriptor whose curve does without the session


@dataclass(frozen=True)  # no slots: the cups are computed when first asked for
class PreparedSession:
    """One usable session with its pours in order, none missing."""

    brew: Brew
    pours: tuple[Pour, ...]  # in pouring order; filled-in ones are not tasted and have no ratings
    steeping: Steeping  # what each pour was to the leaf
    scales: Mapping[str, TasterScale]  # how the session's taster uses the scale, by descriptor
    n_tasters: Mapping[str, int]  # how many tasters the team has, by descriptor, where that is known
    grid: Grid  # where its cups are computed

    @cached_property
    def cups(self) -> FloatArray:
        """Return float64[n_nodes, n_pours]: strength h of each cup."""
        return cup_strength(self.steeping, grid=self.grid)

    def scale_of(self, descriptor: str) -> TasterScale:
        """Return how the taster uses the scale for a descriptor; gain 1 and offset 0 while that is unknown."""
        return self.scales.get(descriptor, TasterScale())

    def rated_indexes(self, descriptor: str) -> IndexArray:
        """Return the positions of the pours on which a descriptor is rated."""
        return np.array([i for i, pour in enumerate(self.pours) if descriptor in pour.ratings], dtype=np.intp)

    def ratings_of(self, descriptor: str) -> SessionRatings | None:
        """Return the ratings of one descriptor, as `posterior.fit` takes them; None when there are none."""
        index = self.rated_indexes(descriptor)
        if not index.size:
            return None
        scale = self.scale_of(descriptor)
        ratings = np.array([self.pours[i].ratings[descriptor] for i in index], dtype=np.float64)
        tasted = np.cumsum([pour.tasted for pour in self.pours])
        censored = np.where(ratings <= LOWEST, -1.0, np.where(ratings >= HIGHEST, 1.0, 0.0))
        return SessionRatings(
            taster=self.brew.taster,
            scale=scale,
            steeping=self.steeping,
            index=index,
            ratings=ratings - scale.offset,
            censored=censored,
            order=tasted[index] - 1.0,
            n_tasters=self.n_tasters.get(descriptor),
        )


def prepare_sessions(
    brews: Iterable[Brew], *, grid: Grid, scales: Mapping[str, Mapping[str, TasterScale]]
) -> tuple[tuple[PreparedSession, ...], tuple[LeftOut, ...]]:
    """Prepare every usable session, and list what is left out.

    Parameters
    ----------
    brews : Iterable[Brew]
        Checked brews.
    grid : Grid
        Where the cups are computed.
    scales : Mapping[str, Mapping[str, TasterScale]]
        By descriptor and taster; who is not in it has gain 1 and offset 0. All tasters of the team are in it, whether
        calibrated or not.

    Returns
    -------
    tuple[tuple[PreparedSession, ...], tuple[LeftOut, ...]]
        In the order of the brews.
    """
    followed: list[PreparedSession] = []
    left_out: list[LeftOut] = []
    n_tasters = {key: len(known) for key, known in scales.items() if known}
    for brew in brews:
        unusable = _unusable(brew)
        if unusable is not None:
            left_out.append(unusable)
            continue
        pours = _gapless(brew, left_out=left_out)
        if not any(pour.ratings or pour.noted for pour in pours):
            left_out.append(LeftOut(brew.session, None, "none_usable"))
            continue
        followed.append(
            PreparedSession(
                brew=brew,
                pours=pours,
                steeping=steeping_of(brew, pours),
                scales={key: known[brew.taster] for key, known in scales.items() if brew.taster in known},
                n_tasters=n_tasters,
                grid=grid,
            )
        )
    return tuple(followed), tuple(left_out)


def _unusable(brew: Brew) -> LeftOut | None:
    """Return why a whole session cannot be used; None when it can."""
    low_ml, high_ml = VESSEL_RANGE_ML
    if not low_ml <= brew.vessel_ml <= high_ml:
        values = {"vessel_ml": brew.vessel_ml, "low_ml": low_ml, "high_ml": high_ml}
        return LeftOut(brew.session, None, "vessel_volume", values)
    ratio = brew.leaf_g / brew.vessel_ml * (EVEN_VESSEL_ML / BOILING.leaf_g)
    if not RATIO_RANGE[0] <= ratio <= RATIO_RANGE[1]:
        values = {"leaf_g": brew.leaf_g, "vessel_ml": brew.vessel_ml, "ratio": ratio}
        return LeftOut(brew.session, None, "leaf_ratio", values)
    if not brew.pours:
        return LeftOut(brew.session, None, "no_infusion")
    if not any(pour.tasted and (pour.ratings or pour.noted) for pour in brew.pours):
        return LeftOut(brew.session, None, "not_rated")
    return None


def _gapless(brew: Brew, *, left_out: list[LeftOut]) -> tuple[Pour, ...]:
    by_number: dict[int, Pour] = {}
    for pour in sorted(brew.pours, key=lambda pour: (pour.number, -len(pour.ratings), -pour.steep_s, repr(pour))):
        if pour.number in by_number:
            left_out.append(LeftOut(brew.session, pour.number, "recorded_twice"))
        elif pour.number > LAST_NUMBER:
            left_out.append(LeftOut(brew.session, pour.number, "beyond_last", {"last": LAST_NUMBER}))
        else:
            by_number[pour.number] = pour
    pours: list[Pour] = []
    expected = min(*by_number, 1) if by_number else 0
    for number, pour in by_number.items():
        if number - expected > LONGEST_GAP:
            left_out.append(LeftOut(brew.session, number, "gap", {"first": expected, "last": number - 1}))
            break
        for missing in range(expected, number):
            before = next((p for p in reversed(pours) if p.number > 0), pour)
            pours.append(_between(before, pour, number=missing))
            left_out.append(LeftOut(brew.session, missing, "filled_in"))
        pours.append(_judged(brew, pour, left_out=left_out))
        expected = number + 1
    return tuple(pours)


def _between(before: Pour, after: Pour, *, number: int) -> Pour:
    """Fill in a pour nobody recorded: contact midway (geometric), the cooler water of the two."""
    midway_s = sqrt(max(contact_s(before), 1.0) * max(contact_s(after), 1.0))
    return Pour(
        number=number,
        steep_s=midway_s,
        pour_s=0.0,
        kettle_c=min(before.kettle_c, after.kettle_c),
        water_ml=after.water_ml,
        rest_s=None,
        ratings={},
        noted=frozenset(),
        tasted=False,
    )


def _judged(brew: Brew, pour: Pour, *, left_out: list[LeftOut]) -> Pour:
    """Return the pour, without its ratings when they cannot be used."""
    if not (pour.ratings or pour.noted):
        return pour
    unusable = _unusable_pour(brew, pour)
    if unusable is None:
        return pour
    left_out.append(unusable)
    return replace(pour, ratings={}, noted=frozenset(), tasted=False)


def _unusable_pour(brew: Brew, pour: Pour) -> LeftOut | None:
    """Return why the ratings of a pour cannot be used; None when they can."""
    water_ml = brew.vessel_ml if pour.water_ml is None else pour.water_ml
    ratio = brew.leaf_g / water_ml * (EVEN_VESSEL_ML / BOILING.leaf_g)
    if not pour.tasted:
        return LeftOut(brew.session, pour.number, "not_tasted")
    if pour.kettle_c < COOLEST_C:
        return LeftOut(brew.session, pour.number, "too_cool", {"kettle_c": pour.kettle_c, "coolest_c": COOLEST_C})
    if contact_s(pour) > LONGEST_S:
        values = {"contact_s": contact_s(pour), "longest_s": LONGEST_S}
        return LeftOut(brew.session, pour.number, "too_long", values)
    if contact_s(pour) < 1.0:
        return LeftOut(brew.session, pour.number, "not_steeped")
    if not RATIO_RANGE[0] <= ratio <= RATIO_RANGE[1]:
        return LeftOut(brew.session, pour.number, "water_ratio", {"water_ml": water_ml, "leaf_g": brew.leaf_g})
    return None
