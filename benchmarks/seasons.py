"""How well a blind flight finds the best of 24 lots, in simulated seasons whose truth is known.

Run from the repository root: ``python -m benchmarks.seasons``. Progress goes to standard error; the results, as
markdown and a drawing, to ``docs/seasons.md`` and ``docs/seasons.svg``. One core, up to twenty minutes.
"""

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import pairwise
from statistics import fmean
from time import monotonic

import numpy as np
from scipy.stats import rankdata

from benchmarks.documents import DOCS
from benchmarks.plots import Axis, Line, drawing
from benchmarks.progress import Progress, ProgressCallback
from tastings.maths.arrays import FloatArray
from tastings.maths.flights.analysis import analyse_flight
from tastings.maths.flights.cups import Cup
from tastings.maths.flights.serving import Plan, plan_servings

N_LOTS, N_TASTERS, N_CUPS = 24, 6, 8
N_SITTINGS = (1, 3)
N_PLANS = 12
"""Plans per number of sittings; seasons take turns with them, lots dealt anew every time."""
SEASONS = 800
FIRST_SEED = 2031
"""Start of the random numbers: not used while the method was worked on."""
BIN_EDGES = (0.0, 0.02, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.65, 0.8, 1.0)
LEAST_IN_BIN = 30
TOLERANCE = 0.05
SAMPLING_Z = 1.96
METHODS = ("adjusted means", "average ranks", "raw means")

Deal = Sequence[tuple[int, Sequence[int]]]


@dataclass(frozen=True, slots=True)
class Season:
    """What the lots are really worth [points], and the cups tasted."""

    lots: FloatArray
    level: FloatArray
    carry: float
    cups: tuple[Cup, ...]


@dataclass(slots=True)
class Scores:
    """What came of the seasons with one number of sittings."""

    predicted: list[FloatArray] = field(default_factory=list)
    true: list[FloatArray] = field(default_factory=list)
    covered: list[float] = field(default_factory=list)
    carry_covered: list[bool] = field(default_factory=list)
    correct: dict[str, list[bool]] = field(default_factory=lambda: {way: [] for way in METHODS})
    lost: dict[str, list[float]] = field(default_factory=lambda: {way: [] for way in METHODS})
    chance_lost: list[float] = field(default_factory=list)
    settled_correct: list[bool] = field(default_factory=list)
    expected_loss: list[float] = field(default_factory=list)

    def reliability(self) -> list[tuple[float, float, int]]:
        """Return the probability of being best predicted and the share found, by bin, with the count."""
        predicted, true = np.concatenate(self.predicted), np.concatenate(self.true)
        rows = []
        for low, high in pairwise(BIN_EDGES):
            inside = (predicted >= low) & ((predicted < high) | (high == BIN_EDGES[-1]))
            if inside.any():
                rows.append((float(predicted[inside].mean()), float(true[inside].mean()), int(inside.sum())))
        return rows


def season(deal: Deal, *, rng: np.random.Generator) -> Season:
    """Taste a season.

    Tasters have a level, a gain, a noise and tastes of their own; a tenth to a third of the previous lot's difference
    is taken off the next; scores drift down over the sitting, each taster's at a pace of its own, the first cup stands
    out; sittings of one taster differ. Scores are rounded to half points and end at 0 and 10.
    """
    normal = rng.standard_normal
    lots = 0.9 * normal(N_LOTS)
    shift, gain = 0.8 * normal(N_TASTERS), np.exp(0.25 * normal(N_TASTERS))
    noise, taste = 0.75 * np.exp(0.25 * normal(N_TASTERS)), 0.35 * normal((N_TASTERS, N_LOTS))
    carry, first = -float(rng.uniform(0.1, 0.33)), 0.2 + 0.2 * float(normal())
    drift = -0.08 + 0.04 * normal(N_TASTERS)
    cups = []
    for number, (taster, served) in enumerate(deal):
        sitting = 0.2 * float(normal())
        for place, lot in enumerate(served):
            tasted = lots[lot] + (carry * lots[served[place - 1]] if place else 0.0) + taste[taster, lot]
            liking = 6 + shift[taster] + sitting + gain[taster] * tasted + drift[taster] * place + first * (place == 0)
            liking += noise[taster] * normal()
            score = float(np.clip(np.round(2 * liking) / 2, 0, 10))
            cups.append(Cup(str(lot), str(taster), str(number), place + 1, score))
    middle = drift.mean() * (N_CUPS - 1) / 2 + first / N_CUPS
    level = 6 + shift.mean() + gain.mean() * lots + middle
    return Season(lots=lots, level=np.asarray(level, dtype=np.float64), carry=carry, cups=tuple(cups))


def plans(sittings: int, *, n_plans: int, progress: ProgressCallback) -> list[Plan]:
    """Make the plans that seasons take turns with."""
    plans = []
    for number in range(n_plans):
        plans.append(
            plan_servings(
                lots=[str(lot) for lot in range(N_LOTS)],
                tasters=[str(taster) for taster in range(N_TASTERS)],
                cups=N_CUPS,
                sittings=sittings,
                seed=number,
            )
        )
        progress(f"plans of {sittings} sittings", number + 1, n_plans)
    return plans


def shuffle_plan(plan: Plan, *, rng: np.random.Generator) -> Deal:
    """Return who gets what, the plan's lots shuffled."""
    names = rng.permutation(N_LOTS)
    return [(int(sitting.taster), [int(names[int(lot)]) for lot in sitting.lots]) for sitting in plan.sittings]


def score(played: Season, *, into: Scores, start: int) -> None:
    """Score one season, by the flight's answer and by what is done without it."""
    answer = analyse_flight(played.cups, scale=10.0, seed=start, lots=[str(lot) for lot in range(N_LOTS)])
    place = [int(standing.lot) for standing in answer.standings]
    best = int(played.lots.argmax())
    into.predicted.append(np.array([standing.p_best for standing in answer.standings]))
    into.true.append(np.array([lot == best for lot in place], dtype=np.float64))
    into.covered.append(fmean(s.low <= played.level[int(s.lot)] <= s.high for s in answer.standings))
    if answer.carry_over is not None:
        into.carry_covered.append(answer.carry_over.low <= played.carry <= answer.carry_over.high)
    chosen = {"adjusted means": place[0], "average ranks": by_ranks(played.cups), "raw means": by_means(played.cups)}
    for way, lot in chosen.items():
        into.correct[way].append(lot == best)
        into.lost[way].append(float(played.lots.max() - played.lots[lot]))
    into.chance_lost.append(float(played.lots.max() - played.lots.mean()))
    if answer.settled:
        into.settled_correct.append(place[0] == best)
    into.expected_loss.append(answer.expected_loss or 0.0)


def by_ranks(cups: Sequence[Cup]) -> int:
    """Return the lot whose place within its sittings is the highest on average, ties as they come."""
    places: dict[str, list[float]] = {}
    for sitting in sorted({cup.sitting for cup in cups}):
        own = [cup for cup in cups if cup.sitting == sitting]
        for cup, rank in zip(own, rankdata([cup.score for cup in own]), strict=True):
            places.setdefault(cup.lot, []).append(float(rank) / len(own))
    return int(max(sorted(places), key=lambda lot: fmean(places[lot])))


def by_means(cups: Sequence[Cup]) -> int:
    """Return the lot with the highest mean score, ties as they come."""
    scores: dict[str, list[float]] = {}
    for cup in cups:
        scores.setdefault(cup.lot, []).append(cup.score)
    return int(max(sorted(scores), key=lambda lot: fmean(scores[lot])))


def choice_table(results: dict[int, Scores]) -> str:
    rows = ["| sittings | chosen by | the true best | points lost | 80 % intervals hold |", "| --- " * 5 + "|"]
    for sittings, score in results.items():
        for way in METHODS:
            cover = f"{fmean(score.covered):.1%}" if way == METHODS[0] else ""
            correct = fmean(score.correct[way])
            rows.append(f"| {sittings} | {way} | {correct:.1%} | {fmean(score.lost[way]):.2f} | {cover} |")
        rows.append(f"| {sittings} | chance | {1 / N_LOTS:.1%} | {fmean(score.chance_lost):.2f} | |")
    return "\n".join(rows)


def calibration_table(results: dict[int, Scores]) -> str:
    rows = ["| sittings | predicted | found | lots | differ | within 5 points |", "| --- " * 6 + "|"]
    for sittings, score in results.items():
        rows += [_calibration(str(sittings), *bin_) for bin_ in score.reliability()]
    for sittings, score in results.items():
        predicted = fmean(float(probabilities[0]) for probabilities in score.predicted)
        rows.append(
            _calibration(f"{sittings}, leaders only", predicted, fmean(score.correct[METHODS[0]]), len(score.predicted))
        )
    return "\n".join(rows)


def _calibration(name: str, predicted: float, true: float, count: int) -> str:
    blur = SAMPLING_Z * (predicted * (1 - predicted) / count) ** 0.5
    close = (
        "yes"
        if abs(true - predicted) <= TOLERANCE
        else "no, but no more than chance"
        if abs(true - predicted) <= blur
        else "no"
    )
    return f"| {name} | {predicted:.1%} | {true:.1%} | {count} | {true - predicted:+.1%} ± {blur:.1%} | {close} |"


def further_table(results: dict[int, Scores]) -> str:
    heads = (
        "| sittings | oftener than by ranks | oftener than by raw means | loss expected | carry-over covered | settled "
        "| of these right |"
    )
    rows = [heads, "| --- " * 7 + "|"]
    for sittings, score in results.items():
        own, n = np.array(score.correct[METHODS[0]], dtype=np.float64), len(score.expected_loss)
        better = []
        for way in METHODS[1:]:
            less = own - np.array(score.correct[way], dtype=np.float64)
            better.append(f"{less.mean():+.1%} ± {SAMPLING_Z * less.std(ddof=1) / n**0.5:.1%}")
        correct = f"{fmean(score.settled_correct):.1%}" if score.settled_correct else "none"
        rows.append(
            f"| {sittings} | {better[0]} | {better[1]} | {fmean(score.expected_loss):.2f} |"
            f" {fmean(score.carry_covered):.1%} | {len(score.settled_correct)} of {n} | {correct} |"
        )
    return "\n".join(rows)


PAGE = """# Simulated seasons

Written by `{command}` on {day}, in {minutes:.0f} minutes on one core.

{seasons} seasons for each number of sittings: 24 lots, 6 tasters, 8 cups a sitting, one sitting each (two cups of every
lot) or three (six cups). Start of the random numbers: {start}, not used while the method was worked on; the same
command gives the same figures.

Lots differ by 0.9 points (standard deviation), tasters' levels by 0.8, their gains by a quarter, and each has a noise
of about 0.75 points, half again as much or as little, and tastes of their own of 0.35. A tenth to a third of the
previous lot's difference is taken off the next cup. Scores drift down by about 0.08 points from cup to cup, at each
taster's own pace, and the first cup stands out. Scores are rounded to half points and end at 0 and 10. The model of
the answer knows nothing of tasters' own paces, of rounding, nor of the ends of the scale. Servings are planned as a
flight's are, lots dealt anew to the plan every season.

## Which lot is chosen

`points lost`: how much better the best lot was than the chosen one. `average ranks`: by place within the sitting.

{choices}

Next: how much oftener the true best was chosen, with what chance alone gives either way (95 %); the loss that was
expected; how often the 80 % interval of carry-over covered it; and how the flights that were settled came out.

{further}

## What the probability of being best is worth

All lots of all seasons, by the predicted probability, then the lots that were chosen. After ± stands by how much
chance alone makes so many lots differ (95 %).

{calibration}

![Probability of being best, predicted and found](seasons.svg)
"""


def draw_reliability(results: dict[int, Scores]) -> str:
    """Draw predicted against found; bins of few lots are left out, since they jump about."""
    return drawing(
        [
            Line(
                f"{sittings} sitting{'s' if sittings > 1 else ''}",
                [(predicted, true) for predicted, true, count in score.reliability() if count >= LEAST_IN_BIN],
            )
            for sittings, score in results.items()
        ],
        x=Axis("predicted probability of being best", (0.0, 0.2, 0.4, 0.6, 0.8, 1.0), "{:.1f}"),
        y=Axis("share of lots that were", (0.0, 0.2, 0.4, 0.6, 0.8, 1.0), "{:.1f}"),
        title="Probability of being best, predicted and found",
        diagonal=True,
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seasons", type=int, default=SEASONS)
    parser.add_argument("--start", type=int, default=FIRST_SEED, help="start of the random numbers")
    chosen = parser.parse_args()
    progress = Progress(begun=monotonic())
    results: dict[int, Scores] = {}
    for sittings in N_SITTINGS:
        served = plans(sittings, n_plans=min(N_PLANS, chosen.seasons), progress=progress)
        results[sittings] = Scores()
        for number in range(chosen.seasons):
            rng = np.random.default_rng([chosen.start, sittings, number])
            played = season(shuffle_plan(served[number % len(served)], rng=rng), rng=rng)
            score(played, into=results[sittings], start=number)
            progress(f"seasons of {sittings} sittings", number + 1, chosen.seasons)
    usual = (chosen.seasons, chosen.start) == (SEASONS, FIRST_SEED)
    page = PAGE.format(
        command="python -m benchmarks.seasons"
        + ("" if usual else f" --seasons {chosen.seasons} --start {chosen.start}"),
        day=datetime.now(UTC).date().isoformat(),
        minutes=(monotonic() - progress.begun) / 60,
        seasons=chosen.seasons,
        start=chosen.start,
        choices=choice_table(results),
        further=further_table(results),
        calibration=calibration_table(results),
    )
    (DOCS / "seasons.svg").write_text(draw_reliability(results))
    (DOCS / "seasons.md").write_text(page)
    print(page)


if __name__ == "__main__":
    main()
