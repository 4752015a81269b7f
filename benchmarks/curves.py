"""How close the computed curve and label of a simulated lot come to the truth, against averages by infusion number."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace

import numpy as np

from benchmarks.worlds import (
    N_TASTERS,
    USUAL_SPREAD,
    USUAL_TABLE,
    Leaf,
    SimulatedTeam,
    Table,
    TeamSpread,
    draw_leaf,
    draw_session,
    draw_team,
)
from tastings.maths.arrays import BoolArray, FloatArray
from tastings.maths.brewing.brews import HIGHEST, Brew, TasterScale
from tastings.maths.brewing.even_brew import EVEN_INFUSIONS
from tastings.maths.curve.development import Development
from tastings.maths.curve.estimate import estimate_development
from tastings.maths.curve.order_slope import team_slopes
from tastings.maths.curve.profile import LABELS, SLOW_FADE, STEADY, curve_shapes

SURE = 0.8


@dataclass(frozen=True, slots=True)
class Scored:
    """One lot: errors and cover by infusion, the label's probabilities and which is true."""

    error: FloatArray
    plain_error: FloatArray
    covered: BoolArray
    probability: FloatArray
    true_label: int
    plain_label: int


@dataclass(slots=True)
class CurveScores:
    """Many lots of the same number of sessions."""

    lots: list[Scored] = field(default_factory=list)

    def errors(self) -> FloatArray:
        """Return float64[n_lots, n_infusions]: computed less true. [points]."""
        return np.array([lot.error for lot in self.lots])

    def rmse(self) -> float:
        """Return the root mean square error of the curves [points]."""
        return float(np.sqrt(np.mean(self.errors() ** 2)))

    def plain_rmse(self) -> float:
        """Return that of the averages by infusion number [points]."""
        return float(np.sqrt(np.mean([lot.plain_error**2 for lot in self.lots])))

    def coverage(self) -> FloatArray:
        """Return the share of intervals that hold the truth, by infusion."""
        return np.asarray(np.mean([lot.covered for lot in self.lots], axis=0), dtype=np.float64)

    def is_label_correct(self) -> BoolArray:
        """Whether the likeliest label is the true one."""
        return np.array([lot.probability.argmax() == lot.true_label for lot in self.lots])

    def is_fade_or_not_correct(self) -> BoolArray:
        """Whether the likeliest label is the true one, a slow fade counted as steady."""
        slow, steady = LABELS.index(SLOW_FADE), LABELS.index(STEADY)
        right = []
        for lot in self.lots:
            three = lot.probability.copy()
            three[steady] += three[slow]
            three[slow] = 0.0
            right.append(three.argmax() == (steady if lot.true_label == slow else lot.true_label))
        return np.array(right)

    def is_baseline_correct(self) -> BoolArray:
        """Whether the label read off the averages is."""
        return np.array([lot.plain_label == lot.true_label for lot in self.lots])

    def is_confident(self) -> BoolArray:
        """Whether the likeliest label has a probability above 0.8."""
        return np.array([lot.probability.max() > SURE for lot in self.lots])

    def reliability(self, *, edges: FloatArray) -> list[tuple[float, float, int]]:
        """Return, by class of stated probability, its mean, how often the label was true, and how many there are."""
        stated = np.concatenate([lot.probability for lot in self.lots])
        true = np.concatenate([np.arange(len(LABELS)) == lot.true_label for lot in self.lots])
        place = np.clip(np.searchsorted(edges, stated, side="right") - 1, 0, edges.size - 2)
        return [
            (float(stated[place == i].mean()), float(true[place == i].mean()), int((place == i).sum()))
            for i in range(edges.size - 1)
            if (place == i).any()
        ]


def mean_by_infusion(brews: Iterable[Brew]) -> FloatArray:
    """Return the mean rating by infusion number; beyond the last one tasted, the last mean goes on."""
    ratings_by_infusion: list[list[float]] = [[] for _ in range(EVEN_INFUSIONS)]
    for brew in brews:
        for pour in brew.pours:
            if "strength" in pour.ratings:
                ratings_by_infusion[pour.number - 1].append(pour.ratings["strength"])
    means = np.full(EVEN_INFUSIONS, np.nan)
    for index, ratings in enumerate(ratings_by_infusion):
        means[index] = np.mean(ratings) if ratings else means[index - 1]
    return means


def scored(development: Development, *, truth: FloatArray, brews: Iterable[Brew]) -> Scored:
    """Set a development beside the true even-brew curve."""
    points = np.array([(point.mean, point.low, point.high) for point in development.curves[0].points])
    plain = mean_by_infusion(brews)
    return Scored(
        error=points[:, 0] - truth,
        plain_error=plain - truth,
        covered=(points[:, 1] <= truth) & (truth <= points[:, 2]),
        probability=np.array([development.profile.probability[name] for name in LABELS]),
        true_label=int(curve_shapes(truth[None, :]).label[0]),
        plain_label=int(curve_shapes(np.maximum(plain, 1e-3)[None, :]).label[0]),
    )


@dataclass(frozen=True, slots=True)
class World:
    """What lots, teams and tables are like: how a leaf is drawn, how many tasters a team has and how they differ.

    From the other ``lots`` of the same team its fatigue is learned.
    """

    leaf: Callable[[np.random.Generator], Leaf] = draw_leaf
    n_tasters: int = N_TASTERS
    spread: TeamSpread = USUAL_SPREAD
    table: Table = USUAL_TABLE
    lots: int = 1


def one_lot(world: World, *, sessions: int, rng: np.random.Generator) -> Scored:
    """Simulate a lot, compute it, and score it."""
    return lots_of_a_team(replace(world, lots=1), sessions=sessions, rng=rng)[0]


def lots_of_a_team(world: World, *, sessions: int, rng: np.random.Generator) -> list[Scored]:
    """Simulate all lots of a team, compute each with what the others say of fatigue, and score them."""
    first = world.leaf(rng)
    team = draw_team(rng, n_tasters=world.n_tasters, spread=world.spread)
    scales = not_calibrated(team)
    leaves, lots = [first], []
    for number in range(world.lots):
        if number:
            leaves.append(world.leaf(rng))
        lots.append([draw_session(leaves[-1], team, number=i, rng=rng, table=world.table) for i in range(sessions)])
    answers = [estimate_development(brews, rated=["strength"], scales=scales) for brews in lots]
    if world.lots > 1:
        evidence = [development.slope_evidence for development in answers]
        answers = [
            estimate_development(
                brews, rated=["strength"], scales=scales, slopes=team_slopes(evidence[:number] + evidence[number + 1 :])
            )
            for number, brews in enumerate(lots)
        ]
    return [
        scored(own, truth=leaf.even_cups(), brews=brews) for own, leaf, brews in zip(answers, leaves, lots, strict=True)
    ]


def not_calibrated(team: SimulatedTeam) -> dict[str, dict[str, TasterScale]]:
    """Return what a team knows of its tasters before calibration: how many they are."""
    return {"strength": {f"taster {i}": TasterScale() for i in range(team.gain.size)}}


def label_moved(*, sessions: int, rng: np.random.Generator) -> bool:
    """Whether one more session in which every cup is a 10 changes the label shown for a lot."""
    leaf, team = draw_leaf(rng), draw_team(rng)
    brews = [draw_session(leaf, team, number=i, rng=rng) for i in range(sessions)]
    like = draw_session(leaf, team, number=sessions, rng=rng)
    tens = tuple(replace(pour, ratings={"strength": HIGHEST}) if pour.ratings else pour for pour in like.pours)
    absurd = replace(like, taster="taster of tens", pours=tens)
    return (
        estimate_development(brews, rated=["strength"]).profile.label
        != estimate_development([*brews, absurd], rated=["strength"]).profile.label
    )
