"""The buyer's questions put to simulated lots whose truth is known: is it ready, is it the same tea, which is more.

Leaf, tables and sessions are those of :mod:`benchmarks.worlds`; every descriptor saturates in its own way, and all
tasters are unknown, as in a team's first weeks. What is counted of the answers is in :mod:`benchmarks.calibration`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import inf, log2

import numpy as np

from benchmarks.worlds import SimulatedLeaf, SimulatedTeam, draw_leaf, draw_session, draw_team
from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import HIGHEST, Brew
from tastings.maths.brewing.even_brew import MOST_INFUSIONS
from tastings.maths.comparison.arrival import ArrivalCheck, check_arrival
from tastings.maths.comparison.side_by_side import FIRST_INFUSIONS, LIKING, Pair, compare
from tastings.maths.curve.estimate import STRENGTH
from tastings.maths.curve.steep_count import count_worthwhile
from tastings.maths.roast.readiness import DatedBrew, Readiness, readiness

ROASTED = date(2026, 1, 1)
READY_LEVEL = 4.0
"""The roast that a team wants it under, by default. [points]"""
DESCRIPTORS = ("sweetness", "bitterness", "aroma", "body", "aftertaste")


def usual_cup(leaf: SimulatedLeaf) -> float:
    """Return the true mean of the first eight even-brew cups. [points]."""
    return float(leaf.even_cups()[:FIRST_INFUSIONS].mean())


def scale_to(leaf: SimulatedLeaf, wanted: float) -> SimulatedLeaf:
    """Return the leaf with another top, so that its first eight even-brew cups have a wanted mean. [points]."""
    return replace(leaf, top=leaf.top * wanted / usual_cup(leaf))


def descriptor_of(leaf: SimulatedLeaf, rng: np.random.Generator) -> SimulatedLeaf:
    """Draw another descriptor of the same leaf: it leaves the leaf alike, and tastes in its own way."""
    other = draw_leaf(rng)
    own = replace(leaf, half=other.half, slope=other.slope)
    return scale_to(own, float(rng.uniform(2.0, 7.0)))


@dataclass(frozen=True, slots=True)
class RoastedLot:
    """The answer about a roasted lot, the day it truly falls under the level, and today. [days after the roast]."""

    found: Readiness
    true_day: float
    today: int

    @property
    def truly_under(self) -> bool:
        """Whether it is under the level today."""
        return self.true_day <= self.today

    @property
    def crosses(self) -> bool:
        """Whether it falls under the level some day."""
        return self.true_day < inf

    @property
    def covered(self) -> bool:
        """Whether the interval of the date holds the true day; no date stands for beyond two years."""
        low, high = (
            inf if one is None else float((one - ROASTED).days) for one in (self.found.low_on, self.found.high_on)
        )
        return low - 1 <= self.true_day <= high


def simulate_roasted_lot(rng: np.random.Generator) -> RoastedLot:
    """Roast a lot, taste it two to five times by up to three tasters within one to six months, and ask."""
    leaf, team = draw_leaf(rng), draw_team(rng)
    half_life = float(np.exp(rng.uniform(np.log(15.0), np.log(150.0))))
    start = float(rng.uniform(4.5, 9.0))
    floor = float(rng.uniform(0.0, 0.7 * start))
    roast = descriptor_of(leaf, rng)
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
                others={"roast": scale_to(roast, floor + (start - floor) * 2 ** (-day / half_life))},
            ),
        )
        for number, day in enumerate(days)
    ]
    today = days[-1] + int(rng.integers(0, 61))
    found = readiness(sessions, roasted_on=ROASTED, today=ROASTED + timedelta(days=today), level=READY_LEVEL)
    crosses = floor < READY_LEVEL
    true_day = half_life * log2((start - floor) / (READY_LEVEL - floor)) if crosses else inf
    return RoastedLot(found=found, true_day=true_day, today=today)


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
        _sessions(leaf, others, name=100 * place, n=sessions, among=who, rng=rng, team=team)
        for place, (others, who) in enumerate(zip((sample, arrived), tasters, strict=True))
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


def simulate_pair(rng: np.random.Generator) -> ComparedLots:
    """Taste two lots one to four times each, by the same four tasters, and ask; half of the pairs are alike."""
    team = draw_team(rng)
    line = float(np.clip(rng.normal(2.5, 0.7), 0.8, 4.5))
    first = draw_leaf(rng)
    alike = bool(rng.random() < 0.5)
    second = _similar_leaf(first, rng) if alike else draw_leaf(rng)
    liked = [_on_the_scale(descriptor_of(leaf, rng)) for leaf in (first, second)]
    groups = {
        name: [
            draw_session(leaf, team, number=100 * place + i, rng=rng, line=line, others={LIKING: liking})
            for i in range(int(rng.integers(1, 5)))
        ]
        for place, (name, leaf, liking) in enumerate(zip("ab", (first, second), liked, strict=True))
    }
    found = compare(groups, rated=[])
    counts = [
        count_worthwhile(leaf.even_cups(infusions=MOST_INFUSIONS)[None, :], finish_line=line).recommended or 0
        for leaf in (first, second)
    ]
    return ComparedLots(
        pair=found.pairs[0],
        alike=alike,
        true_counts=(counts[0], counts[1]),
        true_more={
            STRENGTH: usual_cup(first) - usual_cup(second),
            LIKING: _mean_cup(liked[0], n=counts[0]) - _mean_cup(liked[1], n=counts[1]),
        },
    )


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
