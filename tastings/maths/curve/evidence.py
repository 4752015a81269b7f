"""Which sessions, pours and ratings can be used, and why the others are left out.

The leaf remembers every pour, so a pour is never simply dropped: one that was not recorded is filled in from its
neighbours, and one outside the range of the extraction model still drains the leaf but its ratings are not used.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from math import sqrt

import numpy as np

from tastings.maths.arrays import FloatArray, IndexArray
from tastings.maths.brewing.brews import HIGHEST, LOWEST, Brew, Pour, TasterScale
from tastings.maths.brewing.extraction import Grid, cup_strength
from tastings.maths.brewing.heat import EVEN_LEAF_G, EVEN_VESSEL_ML, Steeping, contact_s, steeped
from tastings.maths.curve.sufficient_statistics import Tasted

COOLEST_C = 50.0
LONGEST_S = 1200.0
RATIO_RANGE = (0.2, 5.0)  # of the even brew: 1 g to 25 g in 110 ml
VESSEL_RANGE_ML = (15.0, 3000.0)
LAST_NUMBER = 60
LONGEST_GAP = 6


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A session, or one infusion of it, whose ratings are not used, with the reason in plain words."""

    session: str
    infusion: int | None
    reason: str


@dataclass(frozen=True)  # no slots: the cups are computed when first asked for
class Followed:
    """One usable session with its pours in order, none missing.

    Parameters
    ----------
    brew : Brew
        As given.
    pours : tuple[Pour, ...]
        In pouring order; filled-in ones are not tasted and have no ratings.
    steeping : Steeping
        What each pour was to the leaf.
    scales : Mapping[str, TasterScale]
        How the session's taster uses the scale, by descriptor.
    grid : Grid
        Where its cups are computed.
    """

    brew: Brew
    pours: tuple[Pour, ...]
    steeping: Steeping
    scales: Mapping[str, TasterScale]
    grid: Grid

    @cached_property
    def cups(self) -> FloatArray:
        """Return float64[n_nodes, n_pours]: strength h of each cup."""
        return cup_strength(self.steeping, grid=self.grid)

    def scale_of(self, descriptor: str) -> TasterScale:
        """Return how the taster uses the scale for a descriptor; gain 1 and offset 0 while that is unknown."""
        return self.scales.get(descriptor, TasterScale())

    def rated(self, descriptor: str) -> IndexArray:
        """Return the positions of the pours on which a descriptor is rated."""
        return np.array([i for i, pour in enumerate(self.pours) if descriptor in pour.ratings], dtype=np.intp)

    def tasted(self, descriptor: str) -> Tasted | None:
        """Return the ratings of one descriptor, as `posterior.fit` takes them; None when there are none."""
        index = self.rated(descriptor)
        if not index.size:
            return None
        scale = self.scale_of(descriptor)
        ratings = np.array([self.pours[i].ratings[descriptor] for i in index], dtype=np.float64)
        ends = np.where(ratings <= LOWEST, -1.0, np.where(ratings >= HIGHEST, 1.0, 0.0))
        return Tasted(
            taster=self.brew.taster,
            scale=scale,
            steeping=self.steeping,
            index=index,
            ratings=ratings - scale.offset,
            ends=ends,
        )


def follow(
    brews: Iterable[Brew], *, grid: Grid, scales: Mapping[str, Mapping[str, TasterScale]]
) -> tuple[tuple[Followed, ...], tuple[LeftOut, ...]]:
    """Follow every usable session, and say what is left out.

    Parameters
    ----------
    brews : Iterable[Brew]
        Checked brews.
    grid : Grid
        Where the cups are computed.
    scales : Mapping[str, Mapping[str, TasterScale]]
        By descriptor and taster; who is not in it has gain 1 and offset 0.

    Returns
    -------
    tuple[tuple[Followed, ...], tuple[LeftOut, ...]]
        In the order of the brews.
    """
    followed: list[Followed] = []
    left_out: list[LeftOut] = []
    for brew in brews:
        reason = _unusable(brew)
        if reason:
            left_out.append(LeftOut(session=brew.session, infusion=None, reason=reason))
            continue
        pours = _gapless(brew, left_out=left_out)
        if not any(pour.ratings or pour.noted for pour in pours):
            left_out.append(
                LeftOut(session=brew.session, infusion=None, reason="none of its tasted infusions can be used")
            )
            continue
        followed.append(
            Followed(
                brew=brew,
                pours=pours,
                steeping=steeped(brew, pours),
                scales={key: known[brew.taster] for key, known in scales.items() if brew.taster in known},
                grid=grid,
            )
        )
    return tuple(followed), tuple(left_out)


def _unusable(brew: Brew) -> str | None:
    low_ml, high_ml = VESSEL_RANGE_ML
    if not low_ml <= brew.vessel_ml <= high_ml:
        return f"a vessel of {brew.vessel_ml:g} ml is outside {low_ml:g} to {high_ml:g} ml"
    ratio = brew.leaf_g / brew.vessel_ml * (EVEN_VESSEL_ML / EVEN_LEAF_G)
    if not RATIO_RANGE[0] <= ratio <= RATIO_RANGE[1]:
        return (
            f"{brew.leaf_g:g} g in {brew.vessel_ml:g} ml is {ratio:.2g} times the even brew's leaf;"
            " only 0.2 to 5 times can be compared"
        )
    if not brew.pours:
        return "no infusion was recorded"
    if not any(pour.tasted and (pour.ratings or pour.noted) for pour in brew.pours):
        return "no infusion was rated"
    return None


def _gapless(brew: Brew, *, left_out: list[LeftOut]) -> tuple[Pour, ...]:
    by_number: dict[int, Pour] = {}
    for pour in sorted(brew.pours, key=lambda pour: (pour.number, -len(pour.ratings), -pour.steep_s, repr(pour))):
        if pour.number in by_number:
            left_out.append(
                LeftOut(
                    session=brew.session,
                    infusion=pour.number,
                    reason="recorded twice; the record with more ratings is used",
                )
            )
        elif pour.number > LAST_NUMBER:
            left_out.append(
                LeftOut(session=brew.session, infusion=pour.number, reason=f"beyond infusion {LAST_NUMBER}")
            )
        else:
            by_number[pour.number] = pour
    pours: list[Pour] = []
    expected = min(*by_number, 1) if by_number else 0
    for number, pour in by_number.items():
        if number - expected > LONGEST_GAP:
            left_out.append(
                LeftOut(
                    session=brew.session,
                    infusion=number,
                    reason=f"infusions {expected} to {number - 1} were not recorded: the leaf's state is unknown",
                )
            )
            break
        for missing in range(expected, number):
            before = next((p for p in reversed(pours) if p.number > 0), pour)
            pours.append(_between(before, pour, number=missing))
            left_out.append(
                LeftOut(
                    session=brew.session,
                    infusion=missing,
                    reason="not recorded; taken to be poured like its neighbours",
                )
            )
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
    reason = None
    water_ml = brew.vessel_ml if pour.water_ml is None else pour.water_ml
    ratio = brew.leaf_g / water_ml * (EVEN_VESSEL_ML / EVEN_LEAF_G)
    if not (pour.ratings or pour.noted):
        return pour
    if not pour.tasted:
        reason = "marked as not tasted"
    elif pour.kettle_c < COOLEST_C:
        reason = f"water of {pour.kettle_c:g} °C is below {COOLEST_C:g} °C, too cool for the extraction model"
    elif contact_s(pour) > LONGEST_S:
        reason = (
            f"a contact of {contact_s(pour):.0f} s is longer than {LONGEST_S:.0f} s, too long for the extraction model"
        )
    elif contact_s(pour) < 1.0:
        reason = "the leaf was not steeped"
    elif not RATIO_RANGE[0] <= ratio <= RATIO_RANGE[1]:
        reason = f"{water_ml:g} ml of water on {brew.leaf_g:g} g of leaf cannot be compared with the even brew"
    if reason is None:
        return pour
    left_out.append(LeftOut(session=brew.session, infusion=pour.number, reason=reason))
    return replace(pour, ratings={}, noted=frozenset(), tasted=False)
