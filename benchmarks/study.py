"""How close the computed development comes to the truth of simulated tastings, against averages by infusion number.

Run from the repository root: ``python -m benchmarks.study --lots 150``. Progress goes to standard error, a table to
standard output.
"""

import argparse
import sys
from dataclasses import dataclass, field

import numpy as np

from benchmarks.worlds import some_leaf, some_session, some_table
from tastings.maths.brewing import EVEN_INFUSIONS, FloatArray
from tastings.maths.brews import Brew
from tastings.maths.develop import develop
from tastings.maths.profile import LABELS, shapes
from tastings.maths.steeps import FINISH_LINE, worthwhile_steeps

SESSIONS = (1, 3, 8)


@dataclass(slots=True)
class Score:
    """Errors and hits over the lots of one row of the table."""

    errors: list[float] = field(default_factory=list)
    plain_errors: list[float] = field(default_factory=list)
    covered: list[bool] = field(default_factory=list)
    right: list[bool] = field(default_factory=list)
    sure: list[bool] = field(default_factory=list)
    plain_right: list[bool] = field(default_factory=list)
    count_errors: list[int] = field(default_factory=list)
    count_covered: list[bool] = field(default_factory=list)

    def row(self, sessions: int) -> str:
        """Return the row as markdown."""
        figures = (
            np.sqrt(np.mean(np.square(self.errors))),
            np.sqrt(np.mean(np.square(self.plain_errors))),
            np.mean(self.covered),
            np.mean(self.right),
            np.mean(self.plain_right),
            np.mean([hit for hit, sure in zip(self.right, self.sure, strict=True) if sure]),
            np.mean(self.sure),
            np.mean(np.abs(self.count_errors)),
            np.mean(self.count_covered),
        )
        return f"| {sessions} | " + " | ".join(f"{figure:.2f}" for figure in figures) + " |"


def plain_average(brews: list[Brew]) -> FloatArray:
    """Return the mean rating by infusion number; beyond the last one tasted, the last mean goes on."""
    found = np.full(EVEN_INFUSIONS, np.nan)
    for number in range(1, EVEN_INFUSIONS + 1):
        said = [p.ratings["strength"] for b in brews for p in b.pours if p.number == number and "strength" in p.ratings]
        found[number - 1] = np.mean(said) if said else found[number - 2]
    return found


def add_lot(score: Score, *, sessions: int, chance: np.random.Generator) -> str:
    """Simulate one lot, compute it, add it to the score, and return its true label."""
    leaf, table = some_leaf(chance), some_table(chance)
    brews = [some_session(leaf, table, number=i, chance=chance) for i in range(sessions)]
    truth = leaf.even_cups()
    true_label = LABELS[shapes(truth[None, :]).label[0]]
    true_count = worthwhile_steeps(truth[None, :], finish_line=FINISH_LINE).recommended or 0

    found = develop(brews, rated=["strength"])
    plain = plain_average(brews)
    points = found.curves[0].points
    probability = found.profile.probability
    score.errors += [point.mean - true for point, true in zip(points, truth, strict=True)]
    score.plain_errors += list(plain - truth)
    score.covered += [point.low <= true <= point.high for point, true in zip(points, truth, strict=True)]
    score.right.append(max(probability, key=lambda name: probability[name]) == true_label)
    score.sure.append(max(probability.values()) > 0.8)
    score.plain_right.append(LABELS[shapes(np.maximum(plain, 1e-3)[None, :]).label[0]] == true_label)
    score.count_errors.append((found.steeps.recommended or 0) - true_count)
    score.count_covered.append((found.steeps.low or 0) <= true_count <= (found.steeps.high or 0))
    return true_label


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lots", type=int, default=150)
    parser.add_argument("--start", type=int, default=1, help="start of the random numbers")
    chosen = parser.parse_args()
    print(
        "| sessions | RMSE | mean by infusion number | 80 % interval covers | label right | by averages "
        "| right when p > 0.8 | share p > 0.8 | steeps off by | steeps interval covers |\n" + "| --- " * 10 + "|"
    )
    for sessions in SESSIONS:
        score, labels = Score(), []
        for lot in range(chosen.lots):
            labels.append(
                add_lot(score, sessions=sessions, chance=np.random.default_rng([chosen.start, sessions, lot]))
            )
            if (lot + 1) % 25 == 0:
                print(f"{sessions} sessions: {lot + 1} of {chosen.lots} lots", file=sys.stderr)
        print(score.row(sessions), flush=True)
        print({name: labels.count(name) for name in LABELS}, file=sys.stderr)


if __name__ == "__main__":
    main()
