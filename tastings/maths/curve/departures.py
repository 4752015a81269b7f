"""Where a session left the even brew or its own habit, and what that did to the cup.

For each departure the strength of the cup is computed again, with the posterior mean, as if it had not happened (this
pour with its usual water, this pot warmed); the difference is the effect. What changes a cup by less than a tenth of a
point, the step of the scale, is not listed.

The counterfactual takes all departures of a session away together, and adds what that does to each cup to its rating.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median
from typing import Literal

import numpy as np

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import HIGHEST, LOWEST, Brew, Pour, TasterScale, validated_brews
from tastings.maths.brewing.extraction import Grid, cup_strength, default_grid
from tastings.maths.brewing.heat import (
    EVEN_CONTACT_S,
    EVEN_KETTLE_C,
    EVEN_LEAF_G,
    EVEN_VESSEL_ML,
    boiling_point_c,
    contact_s,
    steeping_of,
)
from tastings.maths.curve.evidence import PreparedSession, prepare_sessions
from tastings.maths.curve.posterior import fit

LEAST_EFFECT = 0.1
COOLER_C = 3.0
OTHER_CONTACT = 1.5
OTHER_CONTACT_AT_THE_ENDS = 2.5
OTHER_RATIO = 0.12
NEIGHBOURS = 2
MOST_UNDONE = 12  # departures through a whole session, and some that only show once others are gone


Kind = Literal["cool_water", "long_steep", "short_steep", "leaf_ratio", "cold_vessel"]


@dataclass(frozen=True, slots=True)
class Departure:
    """One way in which a cup was not brewed like the others.

    Parameters
    ----------
    session : str
        Of the brew.
    infusion : int
        The pour; for what holds through a whole session, its first tasted infusion.
    kind : str
        ``cool_water``, ``long_steep``, ``short_steep``, ``leaf_ratio`` or ``cold_vessel``.
    effect : float
        What it did to the cup's strength; through a whole session, the mean over its tasted infusions. [points]
    whole_session : bool
        Whether it holds through the whole session.
    n_cups : int
        How many cups the effect is the mean of.
    was : float
        The heat [deg C], contact [s] or water on the leaf [ml] that departs.
    usual : float or None
        What it departs from, in the same unit; None for a whole session, which departs from the even brew.
    leaf_g, ratio : float or None
        For the leaf ratio of a whole session: leaf, and its ratio to water as a multiple of the even brew's.
    at_boiling_point : bool
        Whether the water was cool because it boils there at that heat.
    """

    session: str
    infusion: int
    kind: Kind
    effect: float
    whole_session: bool
    n_cups: int
    was: float
    usual: float | None = None
    leaf_g: float | None = None
    ratio: float | None = None
    at_boiling_point: bool = False


@dataclass(frozen=True, slots=True)
class CounterfactualPoint:
    """One infusion of a lot as its ratings show it, and as they would without the departures.

    Parameters
    ----------
    infusion : int
        From 1.
    ratings, departed : int
        How many ratings, and how many of them a departure moved by a tenth of a point or more.
    shown, without : float
        Mean of the ratings as given, and with what the departures did taken off. [points, 0 to 10]
    """

    infusion: int
    ratings: int
    departed: int
    shown: float
    without: float


@dataclass(frozen=True, slots=True)
class Counterfactual:
    """What a lot's ratings of one descriptor would have shown without the departures, infusion by infusion."""

    descriptor: str
    points: tuple[CounterfactualPoint, ...] = ()

    @property
    def most_moved(self) -> CounterfactualPoint | None:
        """Return the infusion that the departures moved most; None when they moved none by a tenth of a point."""
        moved = [one for one in self.points if abs(one.without - one.shown) >= LEAST_EFFECT]
        return max(moved, key=lambda one: abs(one.without - one.shown), default=None)


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


def departures(followed: PreparedSession, *, node_level: FloatArray, grid: Grid) -> tuple[Departure, ...]:
    """Find the departures of one session.

    Parameters
    ----------
    followed : PreparedSession
        The session.
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
    found = []
    for change in _changes(followed, tasted=tasted):
        effect = change.effect(was, tasted=tasted, node_level=node_level, grid=grid)
        if abs(effect) < LEAST_EFFECT:
            continue
        found.append(
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
    return tuple(sorted(found, key=lambda one: (one.infusion, one.kind)))


def counterfactual(
    brews: Sequence[Brew],
    *,
    descriptor: str = "strength",
    scales: Mapping[str, Mapping[str, TasterScale]] | None = None,
) -> Counterfactual:
    """Return what a lot's ratings would have shown without the departures.

    Parameters
    ----------
    brews : Sequence[Brew]
        The lot's sessions, in any order.
    descriptor : str
        Key of the descriptor.
    scales : Mapping, optional
        As in :func:`tastings.maths.curve.estimate.estimate_development`.

    Returns
    -------
    Counterfactual
        One point for each infusion rated; none when nobody rated it.

    Raises
    ------
    BrewError
        A number in a brew cannot be one.
    """
    grid = default_grid()
    followed = prepare_sessions(validated_brews(brews), grid=grid, scales=scales or {})[0]
    ratings = [(one, tasted) for one in followed if (tasted := one.ratings_of(descriptor)) is not None]
    node_level = fit([tasted for _, tasted in ratings], grid=grid).node_level
    given: dict[int, list[tuple[float, float]]] = defaultdict(list)
    for one, _ in ratings:
        moved = (_without_departures(one, node_level=node_level, grid=grid) - node_level @ one.cups) * one.scale_of(
            descriptor
        ).gain
        for i in one.rated_indexes(descriptor):
            rating = float(one.pours[i].ratings[descriptor])
            given[one.pours[i].number].append((rating, float(np.clip(rating + moved[i], LOWEST, HIGHEST))))
    return Counterfactual(
        descriptor=descriptor,
        points=tuple(
            CounterfactualPoint(
                infusion=number,
                ratings=len(pairs),
                departed=sum(abs(after - before) >= LEAST_EFFECT for before, after in pairs),
                shown=sum(before for before, _ in pairs) / len(pairs),
                without=sum(after for _, after in pairs) / len(pairs),
            )
            for number, pairs in sorted(given.items())
            if number > 0
        ),
    )


def _without_departures(followed: PreparedSession, *, node_level: FloatArray, grid: Grid) -> FloatArray:
    """Return the session's cups with every departure undone, one after the other until none matters [points]."""
    tasted = _tasted(followed)
    present, cups = followed, node_level @ followed.cups
    for _ in range(MOST_UNDONE + len(tasted)):
        change = next(
            (
                one
                for one in _changes(present, tasted=tasted)
                if abs(one.effect(cups, tasted=tasted, node_level=node_level, grid=grid)) >= LEAST_EFFECT
            ),
            None,
        )
        if change is None:
            break
        steeping = steeping_of(change.brew, change.pours)
        present = replace(present, brew=change.brew, pours=change.pours, steeping=steeping)
        cups = node_level @ cup_strength(steeping, grid=grid)
    return np.asarray(cups, dtype=np.float64)


def _tasted(followed: PreparedSession) -> list[int]:
    return [i for i, pour in enumerate(followed.pours) if pour.tasted and pour.number > 0]


def _changes(followed: PreparedSession, *, tasted: list[int]) -> Iterator[_Change]:
    if not tasted:
        return
    yield from _cold_vessel(followed, tasted=tasted)
    yield from _leaf_ratio(followed, tasted=tasted)
    yield from _cool_water(followed, tasted=tasted)
    yield from _contact(followed, tasted=tasted)


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


def _leaf_ratio(followed: PreparedSession, *, tasted: list[int]) -> Iterator[_Change]:
    brew, pours = followed.brew, followed.pours
    water = [brew.vessel_ml if pour.water_ml is None else pour.water_ml for pour in pours]
    usual_ml = median(water[i] for i in tasted)
    usual_ratio = brew.leaf_g / usual_ml * (EVEN_VESSEL_ML / EVEN_LEAF_G)
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


def _cool_water(followed: PreparedSession, *, tasted: list[int]) -> Iterator[_Change]:
    brew, pours = followed.brew, followed.pours
    boils_c = boiling_point_c(brew.altitude_m or 0.0)
    water_c = [min(pour.kettle_c, boils_c) for pour in pours]
    usual_c = median(water_c[i] for i in tasted)
    if usual_c <= EVEN_KETTLE_C - COOLER_C:
        hot = tuple(replace(pour, kettle_c=pour.kettle_c + EVEN_KETTLE_C - usual_c) for pour in pours)
        yield _Change(
            kind="cool_water",
            index=tasted[0],
            whole_session=True,
            brew=replace(brew, altitude_m=None),
            pours=hot,
            was=usual_c,
            at_boiling_point=usual_c > boils_c - 0.5,
        )
    for i in tasted:
        if water_c[i] <= usual_c - COOLER_C:
            yield _Change(
                kind="cool_water",
                index=i,
                whole_session=False,
                brew=brew,
                pours=_with(pours, index=i, pour=replace(pours[i], kettle_c=usual_c)),
                was=water_c[i],
                usual=usual_c,
            )


def _contact(followed: PreparedSession, *, tasted: list[int]) -> Iterator[_Change]:
    brew, pours = followed.brew, followed.pours
    contact = followed.steeping.contact_s
    usual_s = median(float(contact[i]) for i in tasted)
    if not 1 / OTHER_CONTACT < usual_s / EVEN_CONTACT_S < OTHER_CONTACT:
        scale = EVEN_CONTACT_S / max(usual_s, 0.1)
        even = tuple(
            replace(pour, steep_s=contact_s(pour) * scale, pour_s=0.0) if pour.number > 0 else pour for pour in pours
        )
        yield _Change(
            kind="long_steep" if usual_s > EVEN_CONTACT_S else "short_steep",
            index=tasted[0],
            whole_session=True,
            brew=brew,
            pours=even,
            was=usual_s,
        )
    for place, i in enumerate(tasted):
        inner = 0 < place < len(tasted) - 1
        reach = NEIGHBOURS if inner else NEIGHBOURS + 1
        around = [tasted[p] for p in range(place - reach, place + reach + 1) if p != place and 0 <= p < len(tasted)]
        if len(around) < 2:
            continue
        near_s = median(float(contact[n]) for n in around)
        # Steeps are lengthened on purpose as the leaf gives out, so the first and last pour may differ more before
        # it is a departure.
        factor = OTHER_CONTACT if inner else OTHER_CONTACT_AT_THE_ENDS
        if near_s / factor < contact[i] < near_s * factor:
            continue
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
