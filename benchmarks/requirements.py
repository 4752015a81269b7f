"""What the study requires of curves, labels and counts, set beside what it found."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from benchmarks.curves import CurveScores
from benchmarks.endings import SESSIONS, TeamScores
from tastings.maths.arrays import FloatArray

MOST_BY_CHANCE = 2.5
"""One of ten worlds seems to fall by more standard errors in one run of sixteen though none does (Bonferroni)."""

Curves = Mapping[tuple[str, int], CurveScores]


@dataclass(frozen=True, slots=True)
class Requirement:
    """One requirement: its name, what was found and what is asked for, one per number of sessions."""

    name: str
    values: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]

    def row(self) -> str:
        """Return the row as markdown."""
        holds = all(low <= value <= high for low, value, high in zip(self.low, self.values, self.high, strict=True))
        values = " / ".join(f"{value:.2f}" for value in self.values)
        return f"| {self.name} | {values} | {'yes' if holds else '**no**'} |"


def requirements(curves: Curves, *, harder: Curves, teams: dict[int, TeamScores], moved: float) -> str:
    """Set what is asked for beside what was found, in the saturating world unless the name says another."""
    worlds = dict.fromkeys(name for name, _ in curves)
    hard_worlds = dict.fromkeys(name for name, _ in harder)
    saturating = [curves["saturating", sessions] for sessions in SESSIONS]
    is_confident = [float(score.is_label_correct()[score.is_confident()].mean()) for score in saturating]
    last = saturating[-1]
    none, full = (0.0,) * 3, (np.inf,) * 3
    by_infusion = [all_worlds(curves, sessions=sessions) for sessions in SESSIONS]
    hard = {name: [float(harder[name, s].coverage().mean()) for s in SESSIONS] for name in hard_worlds}
    better = [
        min(float(score.is_label_correct().mean() - score.is_baseline_correct().mean()) for score in row)
        for row in ([harder[name, s] for name in hard_worlds] for s in SESSIONS)
    ]
    rows = (
        Requirement(
            "RMSE to two decimals at most 0.74 / 0.43 / 0.23",
            [round(of.rmse(), 2) for of in saturating],
            none,
            (0.74, 0.43, 0.23),
        ),
        Requirement(
            "80 % intervals of curves cover 0.77 to 0.83, the three worlds together",
            [float(cover.mean()) for cover in by_infusion],
            *band(0.77, 0.83),
        ),
        *(
            Requirement(
                f"of `{name}` alone, 0.75 to 0.85",
                [float(curves[name, sessions].coverage().mean()) for sessions in SESSIONS],
                *band(0.75, 0.85),
            )
            for name in worlds
        ),
        Requirement(
            "least at any infusion, the three worlds together, at least 0.75",
            [float(cover.min()) for cover in by_infusion],
            *band(0.75, 1.0),
        ),
        Requirement("most, at most 0.85", [float(cover.max()) for cover in by_infusion], *band(0.0, 0.85)),
        Requirement(
            "least in any harder world, at least 0.72",
            [min(covers) for covers in zip(*hard.values(), strict=True)],
            *band(0.72, 1.0),
        ),
        Requirement(
            f"most that a harder world's cover falls from one session to eight, in its standard errors, at most"
            f" {MOST_BY_CHANCE}",
            [max(_fall(harder[name, SESSIONS[0]], harder[name, SESSIONS[-1]]) for name in hard_worlds)],
            (-np.inf,),
            (MOST_BY_CHANCE,),
        ),
        Requirement("labels less averages, least in any harder world, at least 0", better, *band(0.0, 1.0)),
        Requirement(
            "labels right, a slow fade counted as steady, at least 0.83 / 0.87 / 0.91",
            [float(score.is_fade_or_not_correct().mean()) for score in saturating],
            (0.83, 0.87, 0.91),
            full,
        ),
        Requirement("labels right where p > 0.8, at least 0.92", is_confident, *band(0.92, 1.0)),
        *(
            Requirement(
                f"80 % intervals of counts cover 0.80 to 0.90, {way}",
                [float(np.mean(team.ways[way].covered)) for team in teams.values()],
                *band(0.80, 0.90),
            )
            for way in ("learned", "alone")
        ),
        Requirement(
            "times as good as averages at 8 sessions, at least 2", [last.plain_rmse() / last.rmse()], (2.0,), full[:1]
        ),
        Requirement("labels of eight sessions moved by one of all tens, below 0.05", [moved], (0.0,), (0.05,)),
    )
    return "\n".join(
        ["| required | found at 1 / 3 / 8 sessions | met |", "| --- | --- | --- |", *(row.row() for row in rows)]
    )


def all_worlds(curves: Curves, *, sessions: int) -> FloatArray:
    """Return the cover by infusion over the lots of the three worlds together."""
    cover = [score.coverage() for (_, number), score in curves.items() if number == sessions]
    return np.asarray(np.mean(cover, axis=0), dtype=np.float64)


def _fall(few: CurveScores, many: CurveScores) -> float:
    """Return how much less is covered with many sessions than with few, in standard errors of the difference."""
    by_lot = [np.mean([lot.covered for lot in scores.lots], axis=1) for scores in (few, many)]
    standard_error = np.hypot(*(shares.std(ddof=1) / shares.size**0.5 for shares in by_lot))
    return float((by_lot[0].mean() - by_lot[1].mean()) / standard_error)


def band(low: float, high: float) -> tuple[Sequence[float], Sequence[float]]:
    return (low,) * 3, (high,) * 3
