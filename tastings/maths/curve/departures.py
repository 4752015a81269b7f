"""Where a session left the even brew or its own habit, and what that did to the cup.

For each departure the strength of the cup is computed again, with the posterior mean, as if it had not happened (this
pour with its usual water, this pot warmed); the difference is the effect. What changes a cup by less than a tenth of a
point, the step of the scale, is not listed.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from statistics import median
from typing import Literal

import numpy as np

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import Brew, Pour
from tastings.maths.brewing.even_brew import EvenBrew
from tastings.maths.brewing.extraction import Grid, cup_strength
from tastings.maths.brewing.heat import boiling_point_c, contact_s, steeping_of
from tastings.maths.curve.counterfactual import LEAST_EFFECT
from tastings.maths.curve.evidence import PreparedSession
from tastings.maths.curve.odd_pours import COOLER_C, OTHER_CONTACT, cool_pours, odd_contacts, usual_water_c

OTHER_RATIO = 0.12


Kind = Literal["cool_water", "long_steep", "short_steep", "leaf_ratio", "cold_vessel"]


@dataclass(frozen=True, slots=True)
class Departure:
    """One way in which a cup was not brewed like the others."""

    session: str
    infusion: int  # the pour; for what holds through a whole session, its first tasted infusion
    kind: Kind
    # what it did to the cup's strength; through a whole session, the mean over its tasted infusions [points]
    effect: float
    whole_session: bool  # whether it holds through the whole session
    n_cups: int  # how many cups the effect is the mean of
    was: float  # the heat [deg C], contact [s] or water on the leaf [ml] that departs
    # what it departs from, in the same unit: for a whole session the even brew's; None for its leaf ratio
    usual: float | None = None
    leaf_g: float | None = None  # leaf, for the leaf ratio of a whole session
    ratio: float | None = None  # its ratio to water as a multiple of the even brew's
    at_boiling_point: bool = False  # whether the water was cool because it boils there at that heat


@dataclass(frozen=True, slots=True)
class _Change:
    """A departure with what the session would have been without it; fields as of :class:`Departure`."""

    kind: Kind
    index: int
    whole_session: bool
    brew: Brew
    pours: tuple[Pour, ...]
    was: float
    usual: float | None = None
    leaf_g: float | None = None
    ratio: float | None = None
    at_boiling_point: bool = False

    def effect(self, was: FloatArray, *, tasted: list[int], node_level: FloatArray, grid: Grid) -> float:
        """Return what the departure did to the cups it concerns, given the session's cups with it. [points]."""
        without = node_level @ cup_strength(steeping_of(self.brew, self.pours), grid=grid)
        return float(np.mean((was - without)[tasted if self.whole_session else [self.index]]))


def departures(
    followed: PreparedSession, *, even_brew: EvenBrew, node_level: FloatArray, grid: Grid
) -> tuple[Departure, ...]:
    """Find the departures of one session.

    Parameters
    ----------
    followed : PreparedSession
        The session.
    even_brew : EvenBrew
        What a whole session is set against.
    node_level : float64[n_nodes]
        Posterior weight of each node times the mean level there, of the attribute ``strength``. [points]
    grid : Grid
        Where the cups were computed.

    Returns
    -------
    tuple[Departure, ...]
        By infusion, then kind.
    """
    tasted = _tasted(followed)
    was = node_level @ followed.cups
    departed = []
    for change in _changes(followed, even_brew=even_brew, tasted=tasted):
        effect = change.effect(was, tasted=tasted, node_level=node_level, grid=grid)
        if abs(effect) < LEAST_EFFECT:
            continue
        departed.append(
            Departure(
                session=followed.brew.session,
                infusion=followed.pours[change.index].number,
                kind=change.kind,
                effect=effect,
                whole_session=change.whole_session,
                n_cups=len(tasted) if change.whole_session else 1,
                was=change.was,
                usual=change.usual,
                leaf_g=change.leaf_g,
                ratio=change.ratio,
                at_boiling_point=change.at_boiling_point,
            )
        )
    return tuple(sorted(departed, key=lambda item: (item.infusion, item.kind)))


def _tasted(followed: PreparedSession) -> list[int]:
    return [i for i, pour in enumerate(followed.pours) if pour.tasted and pour.number > 0]


def _changes(followed: PreparedSession, *, even_brew: EvenBrew, tasted: list[int]) -> Iterator[_Change]:
    if not tasted:
        return
    yield from _cold_vessel(followed, tasted=tasted)
    yield from _leaf_ratio(followed, even_brew=even_brew, tasted=tasted)
    yield from _cool_water(followed, even_brew=even_brew, tasted=tasted)
    yield from _contact(followed, even_brew=even_brew, tasted=tasted)


def _cold_vessel(followed: PreparedSession, *, tasted: list[int]) -> Iterator[_Change]:
    brew, pours = followed.brew, followed.pours
    if not brew.warmed:
        warmed = replace(brew, warmed=True)
        first = tasted[0]
        was_c, would_c = followed.steeping.start_c[first], steeping_of(warmed, pours).start_c[first]
        yield _Change(
            kind="cold_vessel",
            index=first,
            whole_session=False,
            brew=warmed,
            pours=pours,
            was=float(was_c),
            usual=float(would_c),
        )


def _leaf_ratio(followed: PreparedSession, *, even_brew: EvenBrew, tasted: list[int]) -> Iterator[_Change]:
    brew, pours = followed.brew, followed.pours
    water = [brew.vessel_ml if pour.water_ml is None else pour.water_ml for pour in pours]
    usual_ml = median(water[i] for i in tasted)
    usual_ratio = brew.leaf_g / usual_ml * (even_brew.vessel_ml / even_brew.leaf_g)
    if abs(usual_ratio - 1) > OTHER_RATIO:
        yield _Change(
            kind="leaf_ratio",
            index=tasted[0],
            whole_session=True,
            brew=replace(brew, leaf_g=brew.leaf_g / usual_ratio),
            pours=pours,
            was=usual_ml,
            leaf_g=brew.leaf_g,
            ratio=usual_ratio,
        )
    for i in tasted:
        if abs(usual_ml / water[i] - 1) > OTHER_RATIO:
            yield _Change(
                kind="leaf_ratio",
                index=i,
                whole_session=False,
                brew=brew,
                pours=_with(pours, index=i, pour=replace(pours[i], water_ml=usual_ml)),
                was=water[i],
                usual=usual_ml,
            )


def _cool_water(followed: PreparedSession, *, even_brew: EvenBrew, tasted: list[int]) -> Iterator[_Change]:
    brew, pours = followed.brew, followed.pours
    boils_c = boiling_point_c(brew.altitude_m or 0.0)
    water_c = [min(pour.kettle_c, boils_c) for pour in pours]
    tasted_c, is_read = [water_c[i] for i in tasted], [pours[i].kettle_read for i in tasted]
    usual_c = usual_water_c(tasted_c, is_read=is_read)
    if usual_c <= even_brew.kettle_c - COOLER_C:
        hot = tuple(replace(pour, kettle_c=pour.kettle_c + even_brew.kettle_c - usual_c) for pour in pours)
        yield _Change(
            kind="cool_water",
            index=tasted[0],
            whole_session=True,
            brew=replace(brew, altitude_m=None),
            pours=hot,
            was=usual_c,
            usual=even_brew.kettle_c,
            at_boiling_point=usual_c > boils_c - 0.5,
        )
    for place in cool_pours(tasted_c, is_read=is_read):
        i = tasted[place]
        yield _Change(
            kind="cool_water",
            index=i,
            whole_session=False,
            brew=brew,
            pours=_with(pours, index=i, pour=replace(pours[i], kettle_c=usual_c)),
            was=water_c[i],
            usual=usual_c,
        )


def _contact(followed: PreparedSession, *, even_brew: EvenBrew, tasted: list[int]) -> Iterator[_Change]:
    brew, pours = followed.brew, followed.pours
    contact = followed.steeping.contact_s
    usual_s = median(float(contact[i]) for i in tasted)
    if not 1 / OTHER_CONTACT < usual_s / even_brew.contact_s < OTHER_CONTACT:
        scale = even_brew.contact_s / max(usual_s, 0.1)
        even = tuple(
            replace(pour, steep_s=contact_s(pour) * scale, pour_s=0.0) if pour.number > 0 else pour for pour in pours
        )
        yield _Change(
            kind="long_steep" if usual_s > even_brew.contact_s else "short_steep",
            index=tasted[0],
            whole_session=True,
            brew=brew,
            pours=even,
            was=usual_s,
            usual=even_brew.contact_s,
        )
    odd = odd_contacts([pours[i].number for i in tasted], [float(contact[i]) for i in tasted])
    for place, near_s in odd.items():
        i = tasted[place]
        yield _Change(
            kind="long_steep" if contact[i] > near_s else "short_steep",
            index=i,
            whole_session=False,
            brew=brew,
            pours=_with(pours, index=i, pour=replace(pours[i], steep_s=near_s, pour_s=0.0)),
            was=float(contact[i]),
            usual=near_s,
        )


def _with(pours: tuple[Pour, ...], *, index: int, pour: Pour) -> tuple[Pour, ...]:
    return (*pours[:index], pour, *pours[index + 1 :])
