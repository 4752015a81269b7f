"""How many steeps: what endings add, and what a team's other lots add, on simulated teams.

Run from the repository root: ``python -m benchmarks.endings --teams 40``. Each team has its own finish line, N(2.5,
0.7), and lots whose sessions end where a cup is found spent or at the hour. ``learned`` is what the product shows: the
finish line is learned from the team's other lots, the tasters' scales from all of them. Progress goes to standard
error.
"""

import argparse
from dataclasses import dataclass, field, replace
from time import monotonic

import numpy as np

from benchmarks.curves import CurveScores, scored
from benchmarks.progress import Progress, ProgressCallback
from benchmarks.worlds import draw_leaf, draw_session, draw_team
from tastings.maths.brewing.brews import Brew
from tastings.maths.brewing.even_brew import MOST_INFUSIONS
from tastings.maths.curve.endings import estimate_finish_line
from tastings.maths.curve.estimate import estimate_development
from tastings.maths.curve.steep_count import Steeps, count_worthwhile
from tastings.maths.panel.calibration import calibrate

SESSIONS = (1, 3, 8)
LOTS = 6
METHODS = ("learned", "alone", "no endings")
FORMER_LAST = 12
"""Counts ended there once, so a width is comparable with that of then when both ends of a range are cut there."""


FORMER_WIDTHS = "5.4 / 4.1 / 3.4"
"""Found when counts ended at the twelfth, for ranges that covered 0.90 / 0.91 / 0.96."""


@dataclass(slots=True)
class CountErrors:
    """Errors of the counts of one way of computing them, and the curves that it gives."""

    off: list[int] = field(default_factory=list)
    covered: list[bool] = field(default_factory=list)
    width: list[int] = field(default_factory=list)
    width_cut: list[int] = field(default_factory=list)
    curves: CurveScores = field(default_factory=CurveScores)

    def add(self, steeps: Steeps, *, true_count: int) -> None:
        """Add one lot."""
        recommended, low, high = steeps.recommended or 0, steeps.low or 0, steeps.high or 0
        self.off.append(abs(recommended - true_count))
        self.covered.append(low <= true_count <= high)
        self.width.append(high - low)
        self.width_cut.append(min(high, FORMER_LAST) - min(low, FORMER_LAST))


@dataclass(slots=True)
class TeamScores:
    """Every way, and the plain average of where sessions stopped."""

    ways: dict[str, CountErrors] = field(default_factory=lambda: {way: CountErrors() for way in METHODS})
    stops_off: list[float] = field(default_factory=list)
    line_off: list[float] = field(default_factory=list)


def add_team(scores: TeamScores, *, sessions: int, rng: np.random.Generator) -> None:
    """Simulate a team with its lots, compute each lot every way, and add to the scores."""
    team = draw_team(rng)
    line = float(np.clip(rng.normal(2.5, 0.7), 0.8, 4.5))
    leaves = {f"lot {i}": draw_leaf(rng) for i in range(LOTS)}
    lots: dict[str, list[Brew]] = {
        name: [draw_session(leaf, team, number=100 * place + i, rng=rng, line=line) for i in range(sessions)]
        for place, (name, leaf) in enumerate(leaves.items())
    }
    scales = {"strength": calibrate(lots)}
    scaled = [estimate_development(brews, rated=["strength"], scales=scales) for brews in lots.values()]
    evidence = [development.line_evidence for development in scaled]
    scores.line_off.append(abs(estimate_finish_line(evidence).mean - line))
    for place, (name, brews) in enumerate(lots.items()):
        learned = estimate_finish_line(evidence[:place] + evidence[place + 1 :])
        truth = leaves[name].even_cups()
        every_cup = leaves[name].even_cups(infusions=MOST_INFUSIONS)
        true_count = count_worthwhile(every_cup[None, :], finish_line=line).recommended or 0
        developments = {
            "learned": estimate_development(brews, rated=["strength"], scales=scales, line=learned),
            "alone": estimate_development(brews, rated=["strength"]),
            "no endings": estimate_development([replace(brew, ending=None) for brew in brews], rated=["strength"]),
        }
        for way, development in developments.items():
            scores.ways[way].add(development.steeps, true_count=true_count)
            scores.ways[way].curves.lots.append(scored(development, truth=truth, brews=brews))
        scores.stops_off.append(abs(float(np.mean([brew.pours[-1].number for brew in brews])) - true_count))


def all_scores(*, teams: int, start: int, progress: ProgressCallback) -> dict[int, TeamScores]:
    """Return the scores by number of sessions; ``progress`` is called with the step, its number and their count."""
    scores = {}
    for sessions in SESSIONS:
        scores[sessions] = TeamScores()
        for team in range(teams):
            add_team(scores[sessions], sessions=sessions, rng=np.random.default_rng([start, 9, sessions, team]))
            progress(f"teams, {sessions} sessions a lot", team + 1, teams)
    return scores


def tables(scores: dict[int, TeamScores]) -> str:
    """Return the counts, then the curves, as markdown."""
    heads = (
        "| sessions | off by, learned | alone | no endings | average of the stops | interval covers, learned | alone "
        "| no endings | its width, learned | alone | no endings |"
    )
    rows = [heads, "| --- " * 11 + "|"]
    for sessions, score in scores.items():
        figures = (
            *(f"{np.mean(score.ways[way].off):.2f}" for way in METHODS),
            f"{np.mean(score.stops_off):.2f}",
            *(f"{np.mean(score.ways[way].covered):.2f}" for way in METHODS),
            *(f"{np.mean(score.ways[way].width):.1f}" for way in METHODS),
        )
        rows.append(f"| {sessions} | " + " | ".join(figures) + " |")
    cut = " / ".join(f"{np.mean(score.ways['learned'].width_cut):.1f}" for score in scores.values())
    then = f"then {FORMER_WIDTHS}"
    rows += [
        "",
        f"Cut at {FORMER_LAST} infusions, where counts ended once, the ranges (learned) are {cut} wide; {then}.",
        "",
        "| sessions | curve RMSE, learned | alone | 80 % interval covers, learned | alone | finish line off by |",
        "| --- " * 6 + "|",
    ]
    for sessions, score in scores.items():
        curves = [score.ways[way].curves for way in ("learned", "alone")]
        figures = (
            *(f"{curve.rmse():.2f}" for curve in curves),
            *(f"{curve.coverage().mean():.2f}" for curve in curves),
            f"{np.mean(score.line_off):.2f}",
        )
        rows.append(f"| {sessions} | " + " | ".join(figures) + " |")
    return "\n".join(rows)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--teams", type=int, default=40)
    parser.add_argument("--start", type=int, default=1, help="start of the random numbers")
    chosen = parser.parse_args()
    print(tables(all_scores(teams=chosen.teams, start=chosen.start, progress=Progress(begun=monotonic()))))


if __name__ == "__main__":
    main()
