"""Where a session left the even brew or its own habit, and what that did to the cup.

Each departure is undone on paper (this pour with its usual water, this pot warmed) and the strength of the cup is
computed again with the posterior mean; the difference is the effect. What changes a cup by less than a tenth of a
point, the step of the scale, is not listed.

What the lot would have shown otherwise: all departures of a session are undone together, and what that does to each
cup is put on its rating.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median

import numpy as np

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import HIGHEST, LOWEST, Brew, Pour, TasterScale, checked
from tastings.maths.brewing.extraction import Grid, cup_strength, usual_grid
from tastings.maths.brewing.heat import (
    EVEN_CONTACT_S,
    EVEN_KETTLE_C,
    EVEN_LEAF_G,
    EVEN_VESSEL_ML,
    boiling_point_c,
    contact_s,
    steeped,
)
from tastings.maths.curve.evidence import Followed, follow
from tastings.maths.curve.posterior import fit

LEAST_EFFECT = 0.1
COOLER_C = 3.0
OTHER_CONTACT = 1.5
OTHER_CONTACT_AT_THE_ENDS = 2.5
OTHER_RATIO = 0.12
NEIGHBOURS = 2
MOST_UNDONE = 12  # departures through a whole session, and some that only show once others are gone


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
    detail : str
        The figures in a plain sentence.
    """

    session: str
    infusion: int
    kind: str
    effect: float
    detail: str


@dataclass(frozen=True, slots=True)
class OtherwisePoint:
    """One infusion of a lot as its ratings show it, and as they would without the departures.

    Parameters
    ----------
    infusion : int
        From 1.
    ratings, departed : int
        How many ratings, and how many of them a departure moved by a tenth of a point or more.
    shown, otherwise : float
        Mean of the ratings as given, and with what the departures did taken off. [points, 0 to 10]
    """

    infusion: int
    ratings: int
    departed: int
    shown: float
    otherwise: float


@dataclass(frozen=True, slots=True)
class Otherwise:
    """What a lot's ratings of one descriptor would have shown without the departures, infusion by infusion."""

    descriptor: str
    points: tuple[OtherwisePoint, ...]

    @property
    def sentence(self) -> str:
        """Name the infusion that the departures moved most."""
        if not self.points:
            return f"The {_words(self.descriptor)} was not rated."
        moved = [one for one in self.points if abs(one.otherwise - one.shown) >= LEAST_EFFECT]
        if not moved:
            return f"Brewed as usual, the lot would have shown the same {_words(self.descriptor)}."
        most = max(moved, key=lambda one: abs(one.otherwise - one.shown))
        return (
            f"Brewed as usual, infusion {most.infusion} would have averaged {most.otherwise:.1f} points of"
            f" {_words(self.descriptor)} instead of {most.shown:.1f}."
        )

    def as_json(self) -> dict[str, object]:
        """Return the figures in plain types, rounded to 3 decimals."""
        return {
            "descriptor": self.descriptor,
            "points": [
                {
                    "infusion": one.infusion,
                    "ratings": one.ratings,
                    "departed": one.departed,
                    "shown": round(one.shown, 3),
                    "otherwise": round(one.otherwise, 3),
                }
                for one in self.points
            ],
            "sentence": self.sentence,
        }


@dataclass(frozen=True, slots=True)
class _Change:
    """A departure found: what the session would have been without it."""

    kind: str
    index: int
    whole_session: bool
    brew: Brew
    pours: tuple[Pour, ...]
    figures: str

    def effect(self, was: FloatArray, *, tasted: list[int], node_level: FloatArray, grid: Grid) -> float:
        """Return what the departure did to the cups it concerns, given the session's cups with it. [points]."""
        without = node_level @ cup_strength(steeped(self.brew, self.pours), grid=grid)
        return float(np.mean((was - without)[tasted if self.whole_session else [self.index]]))


def departures(followed: Followed, *, node_level: FloatArray, grid: Grid) -> tuple[Departure, ...]:
    """Find the departures of one session.

    Parameters
    ----------
    followed : Followed
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
        cups = "cups on average" if change.whole_session and len(tasted) > 1 else "cup"
        change_words = "stronger" if effect > 0 else "weaker"
        found.append(
            Departure(
                session=followed.brew.session,
                infusion=followed.pours[change.index].number,
                kind=change.kind,
                effect=effect,
                detail=f"{change.figures}; {cups} about {abs(effect):.1f} points {change_words}",
            )
        )
    return tuple(sorted(found, key=lambda one: (one.infusion, one.kind)))


def otherwise(
    brews: Sequence[Brew],
    *,
    descriptor: str = "strength",
    scales: Mapping[str, Mapping[str, TasterScale]] | None = None,
) -> Otherwise:
    """Say what a lot's ratings would have shown without the departures.

    Parameters
    ----------
    brews : Sequence[Brew]
        The lot's sessions, in any order.
    descriptor : str
        Key of the descriptor.
    scales : Mapping, optional
        As in :func:`tastings.maths.curve.estimate.develop`.

    Returns
    -------
    Otherwise
        One point for each infusion rated; none when nobody rated it.

    Raises
    ------
    BrewError
        A number in a brew cannot be one.
    """
    grid = usual_grid()
    followed = follow(checked(brews), grid=grid, scales=scales or {})[0]
    ratings = [(one, tasted) for one in followed if (tasted := one.tasted(descriptor)) is not None]
    node_level = fit([tasted for _, tasted in ratings], grid=grid).node_level
    given: dict[int, list[tuple[float, float]]] = defaultdict(list)
    for one, _ in ratings:
        moved = (_undone(one, node_level=node_level, grid=grid) - node_level @ one.cups) * one.scale_of(descriptor).gain
        for i in one.rated(descriptor):
            rating = float(one.pours[i].ratings[descriptor])
            given[one.pours[i].number].append((rating, float(np.clip(rating + moved[i], LOWEST, HIGHEST))))
    return Otherwise(
        descriptor=descriptor,
        points=tuple(
            OtherwisePoint(
                infusion=number,
                ratings=len(pairs),
                departed=sum(abs(after - before) >= LEAST_EFFECT for before, after in pairs),
                shown=sum(before for before, _ in pairs) / len(pairs),
                otherwise=sum(after for _, after in pairs) / len(pairs),
            )
            for number, pairs in sorted(given.items())
            if number > 0
        ),
    )


def _undone(followed: Followed, *, node_level: FloatArray, grid: Grid) -> FloatArray:
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
        steeping = steeped(change.brew, change.pours)
        present = replace(present, brew=change.brew, pours=change.pours, steeping=steeping)
        cups = node_level @ cup_strength(steeping, grid=grid)
    return np.asarray(cups, dtype=np.float64)


def _tasted(followed: Followed) -> list[int]:
    return [i for i, pour in enumerate(followed.pours) if pour.tasted and pour.number > 0]


def _words(descriptor: str) -> str:
    return descriptor.replace("_", " ")


def _changes(followed: Followed, *, tasted: list[int]) -> Iterator[_Change]:
    if not tasted:
        return
    yield from _cold_vessel(followed, tasted=tasted)
    yield from _leaf_ratio(followed, tasted=tasted)
    yield from _cool_water(followed, tasted=tasted)
    yield from _contact(followed, tasted=tasted)


def _cold_vessel(followed: Followed, *, tasted: list[int]) -> Iterator[_Change]:
    brew, pours = followed.brew, followed.pours
    if not brew.warmed:
        warmed = replace(brew, warmed=True)
        first = tasted[0]
        was_c, would_c = followed.steeping.start_c[first], steeped(warmed, pours).start_c[first]
        yield _Change(
            kind="cold_vessel",
            index=first,
            whole_session=False,
            brew=warmed,
            pours=pours,
            figures=f"the vessel was not warmed: the water settled at {was_c:.0f} °C instead of {would_c:.0f} °C",
        )


def _leaf_ratio(followed: Followed, *, tasted: list[int]) -> Iterator[_Change]:
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
            figures=f"{brew.leaf_g:g} g of leaf in {usual_ml:g} ml, {usual_ratio:.2f} times the even brew's",
        )
    for i in tasted:
        if abs(usual_ml / water[i] - 1) > OTHER_RATIO:
            yield _Change(
                kind="leaf_ratio",
                index=i,
                whole_session=False,
                brew=brew,
                pours=_with(pours, index=i, pour=replace(pours[i], water_ml=usual_ml)),
                figures=f"{water[i]:g} ml of water against {usual_ml:g} ml usual in this session",
            )


def _cool_water(followed: Followed, *, tasted: list[int]) -> Iterator[_Change]:
    brew, pours = followed.brew, followed.pours
    boils_c = boiling_point_c(brew.altitude_m or 0.0)
    water_c = [min(pour.kettle_c, boils_c) for pour in pours]
    usual_c = median(water_c[i] for i in tasted)
    if usual_c <= EVEN_KETTLE_C - COOLER_C:
        hot = tuple(replace(pour, kettle_c=pour.kettle_c + EVEN_KETTLE_C - usual_c) for pour in pours)
        why = ", the boiling point at this height" if usual_c > boils_c - 0.5 else ""
        yield _Change(
            kind="cool_water",
            index=tasted[0],
            whole_session=True,
            brew=replace(brew, altitude_m=None),
            pours=hot,
            figures=f"water of about {usual_c:.0f} °C all through{why}, against the even brew's {EVEN_KETTLE_C:.0f} °C",
        )
    for i in tasted:
        if water_c[i] <= usual_c - COOLER_C:
            yield _Change(
                kind="cool_water",
                index=i,
                whole_session=False,
                brew=brew,
                pours=_with(pours, index=i, pour=replace(pours[i], kettle_c=usual_c)),
                figures=f"water of {water_c[i]:.0f} °C against {usual_c:.0f} °C usual in this session",
            )


def _contact(followed: Followed, *, tasted: list[int]) -> Iterator[_Change]:
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
            figures=f"a contact of about {usual_s:.0f} s all through, against {EVEN_CONTACT_S:.0f} s of the even brew",
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
            figures=f"a contact of {contact[i]:.0f} s against about {near_s:.0f} s of the infusions around it",
        )


def _with(pours: tuple[Pour, ...], *, index: int, pour: Pour) -> tuple[Pour, ...]:
    return (*pours[:index], pour, *pours[index + 1 :])
