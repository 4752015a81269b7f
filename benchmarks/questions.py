"""The buyer's questions put to simulated lots whose truth is known: is it ready, is it the same tea, which is more.

Leaf, tables and sessions are those of :mod:`benchmarks.worlds`; every descriptor saturates in its own way, and all
tasters are unknown, as in a team's first weeks. What is counted of the answers is in :mod:`benchmarks.calibration`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import inf, log, log2, log10

import numpy as np

from benchmarks.worlds import (
    USUAL_SPREAD,
    USUAL_TABLE,
    SimulatedLeaf,
    SimulatedTeam,
    Table,
    TeamSpread,
    draw_leaf,
    draw_session,
    draw_team,
)
from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import HIGHEST, Brew
from tastings.maths.brewing.even_brew import MOST_INFUSIONS
from tastings.maths.certainty import CENTRAL_80
from tastings.maths.comparison.arrival import ArrivalCheck, check_arrival
from tastings.maths.comparison.side_by_side import FIRST_INFUSIONS, LIKING, Pair, compare
from tastings.maths.curve.estimate import STRENGTH
from tastings.maths.curve.steep_count import count_worthwhile
from tastings.maths.flights.cups import Cup, served_cups
from tastings.maths.flights.model import draw
from tastings.maths.flights.standings import Standing, standings
from tastings.maths.flights.williams import williams_square
from tastings.maths.roast.readiness import ROAST, DatedBrew, Readiness, readiness
from tastings.maths.roast.rest import (
    FALLS,
    LEAST_GAIN,
    TEAM_LEVEL,
    UNKNOWN_REST_DAYS,
    USUAL_REST_DAYS,
    liked_roast,
)

ROASTED = date(2026, 1, 1)
DESCRIPTORS = ("sweetness", "bitterness", "aroma", "body", "aftertaste")


def usual_cup(leaf: SimulatedLeaf) -> float:
    """Return the true mean of the first eight even-brew cups. [points]."""
    return float(leaf.even_cups()[:FIRST_INFUSIONS].mean())


def scale_to(leaf: SimulatedLeaf, mean: float) -> SimulatedLeaf:
    """Return the leaf with another top, so that its first eight even-brew cups have a wanted mean. [points]."""
    return replace(leaf, top=leaf.top * mean / usual_cup(leaf))


def descriptor_of(leaf: SimulatedLeaf, rng: np.random.Generator) -> SimulatedLeaf:
    """Draw another descriptor of the same leaf: it leaves the leaf alike, and tastes in its own way."""
    other = draw_leaf(rng)
    own = replace(leaf, half=other.half, slope=other.slope)
    return scale_to(own, float(rng.uniform(2.0, 7.0)))


@dataclass(frozen=True, slots=True)
class SimulatedRoast:
    """What a roasted lot does over the days.

    The roast note is ``floor + (start - floor) 2^(-day / half_life)``. Liking comes to within a tenth of its ``gain``
    by the end of the rest, a curve where the estimator takes a straight line, and then changes by ``fall``.
    """

    degree: str  # degree of roast, empty where the lot does not say
    level: float  # roast under which it is liked [points]
    # start, floor, half_life_days: of the roast note [points; days]
    start: float
    floor: float
    half_life_days: float
    # liked, gain: liking once it has rested, and by how much less it is liked on the first day [points]
    liked: float
    gain: float
    rest_days: float
    fall: float  # change of liking in 30 days after the rest, at most 0 [points]

    def roast_on(self, day: float) -> float:
        """Return the roast note so many days after the roast. [points]."""
        return float(self.floor + (self.start - self.floor) * 2 ** (-day / self.half_life_days))

    def liking_on(self, day: float) -> float:
        """Return the liking so many days after the roast. [points]."""
        missing = self.gain * 10 ** (-day / self.rest_days)
        return float(max(self.liked - missing + self.fall * max(day - self.rest_days, 0.0) / 30, 0.5))

    @property
    def under_day(self) -> float:
        """Day on which the roast falls under the level, inf for never."""
        if self.start <= self.level:
            return 0.0
        if self.floor >= self.level:
            return inf
        return self.half_life_days * log2((self.start - self.floor) / (self.level - self.floor))

    @property
    def rested_day(self) -> float:
        """Day from which on less than a quarter of a point of liking is to be gained."""
        return self.rest_days * log10(self.gain / LEAST_GAIN) if self.gain > LEAST_GAIN else 0.0


STARTS = {"light": (2.5, 5.0), "medium": (3.5, 6.5), "medium_dark": (5.0, 8.0), "dark": (6.0, 9.0), "": (4.5, 9.0)}
"""Least and most roast on the first day, by degree. [points]"""


def draw_roast(rng: np.random.Generator) -> SimulatedRoast:
    """Draw a roasted lot; rests are half again as far from the usual ones as the estimator takes them to be."""
    degree = str(rng.choice(list(STARTS)))
    start = float(rng.uniform(*STARTS[degree]))
    shortest, longest = USUAL_REST_DAYS.get(degree, UNKNOWN_REST_DAYS)
    sd = 1.5 * log(longest / shortest) / CENTRAL_80 / 2
    return SimulatedRoast(
        degree=degree,
        level=liked_roast(degree, team_level=TEAM_LEVEL),
        start=start,
        floor=float(rng.uniform(0.0, 0.7 * start)),
        half_life_days=float(np.exp(rng.uniform(np.log(15.0), np.log(150.0)))),
        liked=float(rng.uniform(5.0, 7.5)),
        gain=float(np.clip(rng.normal(1.2, 0.7), 0.0, 3.0)),
        rest_days=float(np.exp(rng.normal(log(shortest * longest) / 2, sd))),
        fall=-float(rng.uniform(0.15, 1.0)) if rng.random() < 0.4 else 0.0,
    )


@dataclass(frozen=True, slots=True)
class RoastedLot:
    """The answer about a roasted lot, what the lot truly does, and today. [days after the roast]."""

    answer: Readiness
    roast: SimulatedRoast
    today: int

    @property
    def ready_day(self) -> float:
        """The day from which on it is ready: under the level and rested, inf for never.

        Where the answer knows of no usual rest and of no liking, it speaks of the roast alone.
        """
        return self.roast.under_day if self.answer.rested is None else max(self.roast.under_day, self.roast.rested_day)

    @property
    def truly_ready(self) -> bool:
        """Whether it is ready today."""
        return self.ready_day <= self.today

    @property
    def truly_falls(self) -> bool:
        """Whether waiting makes it worse, once it has rested."""
        return self.roast.fall <= -FALLS

    @property
    def change_of_liking(self) -> float | None:
        """How liking truly changes over the days of the tastings, by least squares [points in 30 days]."""
        days = np.array([value.day for value in self.answer.values])
        if days.size < 2:
            return None
        return float(np.polyfit(days / 30, [self.roast.liking_on(day) for day in days], 1)[0])

    @property
    def dates(self) -> tuple[float, float, float]:
        """The 10 %, 50 % and 90 % dates that were said [days after the roast]; inf for none."""
        low, middle, high = (
            inf if date is None else float((date - ROASTED).days)
            for date in (self.answer.low_on, self.answer.expected_on, self.answer.high_on)
        )
        return low, middle, high

    @property
    def covered(self) -> bool:
        """Whether the interval of the date holds the true day; no date stands for beyond two years."""
        low, _, high = self.dates
        return low - 1 <= self.ready_day <= high


def simulate_roasted_lot(
    rng: np.random.Generator, *, spread: TeamSpread = USUAL_SPREAD, table: Table = USUAL_TABLE
) -> RoastedLot:
    """Roast a lot, taste it two to five times by up to three tasters within one to six months, and ask."""
    leaf, team, roast = draw_leaf(rng), draw_team(rng, spread=spread), draw_roast(rng)
    note, liking = descriptor_of(leaf, rng), descriptor_of(leaf, rng)
    # Liked no better than the scale can say: beyond it nobody could rate that waiting makes it worse.
    roast = replace(roast, liked=min(roast.liked, usual_cup(replace(liking, top=HIGHEST))))
    days = np.sort(rng.choice(int(rng.integers(30, 181)), size=int(rng.integers(2, 6)), replace=False)).tolist()
    among = rng.choice(team.gain.size, size=int(rng.integers(1, 4)), replace=False).tolist()
    sessions = [
        DatedBrew(
            day=ROASTED + timedelta(days=day),
            brew=draw_session(
                leaf,
                team,
                number=number,
                rng=rng,
                among=among,
                table=table,
                others={
                    ROAST: scale_to(note, roast.roast_on(day)),
                    LIKING: scale_to(liking, roast.liking_on(day)),
                },
            ),
        )
        for number, day in enumerate(days)
    ]
    today = days[-1] + int(rng.integers(0, 61))
    answer = readiness(
        sessions,
        roasted_on=ROASTED,
        today=ROASTED + timedelta(days=today),
        level=roast.level,
        degree=roast.degree,
    )
    return RoastedLot(answer=answer, roast=roast, today=today)


def simulate_arrival(
    rng: np.random.Generator, *, sessions: int, other_tasters: bool, differs_by: float
) -> ArrivalCheck:
    """Taste a sample and the lot that arrived, which differs in one of six descriptors or in none, and ask.

    The same four tasters taste both, or four others the second. A difference goes towards the middle of the scale.
    """
    leaf, team = draw_leaf(rng), draw_team(rng, n_tasters=8)
    sample = {key: descriptor_of(leaf, rng) for key in DESCRIPTORS}
    arrived = dict(sample)
    if differs_by:
        key = DESCRIPTORS[int(rng.integers(len(DESCRIPTORS)))]
        before = usual_cup(sample[key])
        arrived[key] = scale_to(sample[key], before + (differs_by if before < 4.5 else -differs_by))
    tasters = (range(4), range(4, 8) if other_tasters else range(4))
    sides = [
        _sessions(leaf, others, name=100 * place, n=sessions, among=group, rng=rng, team=team)
        for place, (others, group) in enumerate(zip((sample, arrived), tasters, strict=True))
    ]
    return check_arrival(*sides, rated=(STRENGTH, *DESCRIPTORS))


@dataclass(frozen=True, slots=True)
class ComparedLots:
    """The comparison of two lots, and the truth: which has more infusions and more of each descriptor, by how much.

    ``alike``: they are nearly the same leaf.
    """

    pair: Pair
    alike: bool
    true_counts: tuple[int, int]
    true_more: Mapping[str, float]


def simulate_pair(
    rng: np.random.Generator, *, spread: TeamSpread = USUAL_SPREAD, table: Table = USUAL_TABLE
) -> ComparedLots:
    """Taste two lots one to four times each, by the same four tasters, and ask; half of the pairs are alike."""
    team = draw_team(rng, spread=spread)
    line = float(np.clip(rng.normal(2.5, 0.7), 0.8, 4.5))
    first = draw_leaf(rng)
    alike = bool(rng.random() < 0.5)
    second = _similar_leaf(first, rng) if alike else draw_leaf(rng)
    liked = [_on_the_scale(descriptor_of(leaf, rng)) for leaf in (first, second)]
    groups = {
        name: [
            draw_session(leaf, team, number=100 * place + i, rng=rng, line=line, others={LIKING: liking}, table=table)
            for i in range(int(rng.integers(1, 5)))
        ]
        for place, (name, leaf, liking) in enumerate(zip("ab", (first, second), liked, strict=True))
    }
    comparison = compare(groups, rated=[])
    counts = [
        count_worthwhile(leaf.even_cups(infusions=MOST_INFUSIONS)[None, :], finish_line=line).recommended or 0
        for leaf in (first, second)
    ]
    return ComparedLots(
        pair=comparison.pairs[0],
        alike=alike,
        true_counts=(counts[0], counts[1]),
        true_more={
            STRENGTH: usual_cup(first) - usual_cup(second),
            LIKING: _mean_cup(liked[0], n=counts[0]) - _mean_cup(liked[1], n=counts[1]),
        },
    )


@dataclass(frozen=True, slots=True)
class BlindFlight:
    """Where lots stand after a blind flight, and which is truly the best; one drawn at random where all are equal."""

    standings: tuple[Standing, ...]
    best: str


def simulate_flight(rng: np.random.Generator, *, spread: float) -> BlindFlight:
    """Taste three to eight lots blind, by two to eight tasters once or twice, and ask.

    Parameters
    ----------
    rng : Generator
    spread : float
        Standard deviation of the lots. [points]

    Notes
    -----
    Tasters have a level, a gain, a noise, a pace of tiring and tastes of their own; up to a third of the previous lot's
    difference is taken off the next, and the first cup stands out, as in :mod:`benchmarks.seasons`.
    """
    normal = rng.standard_normal
    n_lots, n_tasters, n_sittings = (int(rng.integers(*of)) for of in ((3, 9), (2, 9), (1, 3)))
    lots = spread * normal(n_lots)
    shift, gain = 0.8 * normal(n_tasters), np.exp(0.25 * normal(n_tasters))
    noise = rng.choice([0.75, 1.2]) * np.exp(0.25 * normal(n_tasters))
    taste, drift = 0.35 * normal((n_tasters, n_lots)), -0.05 + 0.04 * normal(n_tasters)
    carry, first = -float(rng.uniform(0, 0.33)), 0.2 + 0.2 * normal()
    orders, cups = williams_square(n_lots), []
    for sitting in range(n_tasters * n_sittings):
        taster, served = sitting % n_tasters, orders[int(rng.integers(len(orders)))]
        level = 6 + shift[taster] + 0.2 * normal()
        for place, lot in enumerate(served):
            tasted = lots[lot] + taste[taster, lot] + (carry * lots[served[place - 1]] if place else first)
            liking = level + gain[taster] * tasted + drift[taster] * place + noise[taster] * normal()
            score = float(np.clip(np.round(2 * liking) / 2, 0, 10))
            cups.append(Cup(str(lot), str(taster), str(sitting), place + 1, score))
    of_cups = served_cups(cups, scale=HIGHEST, lots=[str(lot) for lot in range(n_lots)])
    worth = draw(of_cups, scale=HIGHEST, rng=rng).worth()
    order = standings(of_cups, worth=worth, among=range(n_lots))
    return BlindFlight(standings=order, best=str(lots.argmax() if spread else rng.integers(n_lots)))


def _mean_cup(leaf: SimulatedLeaf, *, n: int) -> float:
    """Return the mean over the cups worth drinking, the first at least, as the comparison takes liking. [points]."""
    return float(leaf.even_cups(infusions=MOST_INFUSIONS)[: max(n, 1)].mean())


def _similar_leaf(leaf: SimulatedLeaf, rng: np.random.Generator) -> SimulatedLeaf:
    off: FloatArray = np.exp(rng.normal(0.0, 0.15, 3))
    return _on_the_scale(
        replace(leaf, k_per_min=leaf.k_per_min * off[0], tau_s=leaf.tau_s * off[1], top=leaf.top * off[2])
    )


def _on_the_scale(leaf: SimulatedLeaf) -> SimulatedLeaf:
    """Return the leaf with no cup beyond the scale, where nobody can rate it."""
    return replace(leaf, top=min(leaf.top, HIGHEST))


def _sessions(
    leaf: SimulatedLeaf,
    others: Mapping[str, SimulatedLeaf],
    *,
    name: int,
    n: int,
    among: Sequence[int],
    rng: np.random.Generator,
    team: SimulatedTeam,
) -> list[Brew]:
    return [draw_session(leaf, team, number=name + i, rng=rng, others=others, among=list(among)) for i in range(n)]
