"""How often a forecast is right: of a tea's course from its first cups, and of its cups in another vessel.

Run from the repository root: ``python -m benchmarks.forecasts``. The tables go to ``docs/forecasts.md``, between its
marks, and to standard output. The worlds are those of ``benchmarks/worlds.py`` and ``benchmarks/hard_worlds.py``; the
other vessel has a mass of its own, which is known in every second lot, and in every second lot more or less leaf. One
core; about five minutes.
"""

import argparse
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np

from benchmarks.curves import not_calibrated, scored
from benchmarks.documents import write_between_marks
from benchmarks.hard_worlds import draw_three_solutes
from benchmarks.worlds import Leaf, Table, draw_leaf, draw_session, draw_team
from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.even_brew import BOILING, EVEN_INFUSIONS, MOST_INFUSIONS
from tastings.maths.brewing.heat import MATERIALS, vessel_mass_g
from tastings.maths.curve.development import METHOD
from tastings.maths.curve.estimate import estimate_development
from tastings.maths.curve.steep_count import count_worthwhile
from tastings.maths.forecast.vessel import MASS_SPREAD, NOTICEABLE, VesselForecast, vessel_forecast
from tastings.maths.guide.pots import PotRequest, Vessel

WORLDS: Mapping[str, Callable[[np.random.Generator], Leaf]] = {
    "saturating": draw_leaf,
    "three solutes": draw_three_solutes,
}
RATED_TO = (2, 3, 5, 7)
SESSIONS = (1, 3)
LOTS = 300
FIRST_SEED = 2039
"""Start of the random numbers: not used while the method was worked on."""
LINE_SD = 0.7
EDGES = (0.0, 0.1, 0.25, 0.5, 0.75, 0.9, 1.0)


@dataclass(frozen=True, slots=True)
class CourseScore:
    """One lot: whether the likeliest course was true, one was named, the interval covered the count; its width."""

    is_right: bool
    is_named: bool
    is_covered: bool
    width: float
    curve_covered: float


@dataclass(frozen=True, slots=True)
class VesselScore:
    """One lot in another vessel: share of bands that came true, and by probability and cup whether it came true."""

    covered: float
    stated: FloatArray
    came_true: FloatArray


def one_course(
    draw: Callable[[np.random.Generator], Leaf], *, sessions: int, rated_to: int, seed: list[int]
) -> CourseScore:
    """Taste a lot as far as ``rated_to`` and score what is said of the whole."""
    rng = np.random.default_rng(seed)
    leaf, team = draw(rng), draw_team(rng)
    line = float(rng.normal(2.5, LINE_SD))
    brews = [draw_session(leaf, team, number=i, rng=rng, table=Table(last=rated_to)) for i in range(sessions)]
    answer = estimate_development(brews, rated=["strength"], scales=not_calibrated(team))
    score = scored(answer, truth=leaf.even_cups(), brews=brews)
    true_count = count_worthwhile(leaf.even_cups(infusions=MOST_INFUSIONS)[None, :], finish_line=line).recommended or 0
    low, high = answer.steeps.low or 0, answer.steeps.high or 0
    return CourseScore(
        is_right=bool(score.probability.argmax() == score.true_label),
        is_named=answer.profile.label != "undecided",
        is_covered=low <= true_count <= high,
        width=float(high - low),
        curve_covered=float(score.covered.mean()),
    )


def one_vessel(
    draw: Callable[[np.random.Generator], Leaf], *, sessions: int, rated_to: int, seed: list[int]
) -> VesselScore:
    """Taste a lot in porcelain and score what is said of its cups in another vessel."""
    rng = np.random.default_rng(seed)
    leaf, team = draw(rng), draw_team(rng)
    brews = [draw_session(leaf, team, number=i, rng=rng, table=Table(last=rated_to)) for i in range(sessions)]
    pot, mass_g = draw_vessel(rng)
    forecast = vessel_forecast(brews, pot=pot, even_brew=BOILING, scales=not_calibrated(team))
    if forecast is None:
        raise RuntimeError("a lot whose strength was rated has no forecast")
    true_first_g = vessel_mass_g(vessel_ml=110.0, material="porcelain")
    first = true_cups(leaf, replace(forecast.first, vessel_g=true_first_g), forecast)
    other = true_cups(leaf, replace(forecast.other, vessel_g=mass_g), forecast)
    stronger_by = other - first
    return VesselScore(
        covered=float(
            np.mean([row.other.low <= cup <= row.other.high for row, cup in zip(forecast.cups, other, strict=True)])
        ),
        stated=np.array([(cup.stronger, cup.weaker) for cup in forecast.cups]),
        came_true=np.stack([stronger_by > NOTICEABLE, stronger_by < -NOTICEABLE], axis=1),
    )


def draw_vessel(rng: np.random.Generator) -> tuple[PotRequest, float]:
    """Draw another vessel and its true mass [g], which the pot names in every second case."""
    material = str(rng.choice(sorted(MATERIALS.keys() - {"porcelain"})))
    vessel_ml = float(rng.uniform(80.0, 200.0))
    mass_g = vessel_mass_g(vessel_ml=vessel_ml, material=material) * float(np.exp(rng.normal(0.0, MASS_SPREAD)))
    is_weighed = rng.random() < 0.5
    pot = PotRequest(
        vessel_material=material,
        vessel_ml=vessel_ml,
        warmed=bool(rng.random() < 0.5),
        leaf_g=vessel_ml * 5 / 110 * float(rng.uniform(0.7, 1.4)) if rng.random() < 0.5 else None,
        vessel_g=mass_g if is_weighed else None,
    )
    return pot, mass_g


def true_cups(leaf: Leaf, vessel: Vessel, forecast: VesselForecast) -> FloatArray:
    """Return the true strength of the forecast's infusions. [points, 0 to 10]."""
    contacts = [(0, BOILING.rinse_s or 0.0), *((n, forecast.contact_s) for n in range(1, EVEN_INFUSIONS + 1))]
    pours = tuple(replace(vessel.pour(number, steep_s=steep_s), pour_s=0.0) for number, steep_s in contacts)
    return leaf.cups(vessel.brew(pours))[1:]


def course_rows(*, lots: int, start: int) -> Iterator[str]:
    yield (
        "| cups rated | sessions | world | course right | named | right where named | count covered | width "
        "| curve covers |"
    )
    yield "| --- " * 9 + "|"
    for rated_to in RATED_TO:
        for sessions in SESSIONS:
            every: list[CourseScore] = []
            for number, (world, draw) in enumerate(WORLDS.items()):
                scores = [
                    one_course(
                        draw, sessions=sessions, rated_to=rated_to, seed=[start, number, sessions, rated_to, lot]
                    )
                    for lot in range(lots)
                ]
                every += scores
                yield _course_row(rated_to, sessions, world, scores)
            yield _course_row(rated_to, sessions, "both", every)


def _course_row(rated_to: int, sessions: int, world: str, scores: list[CourseScore]) -> str:
    named = [score.is_right for score in scores if score.is_named]
    figures = (
        np.mean([score.is_right for score in scores]),
        np.mean([score.is_named for score in scores]),
        np.mean(named) if named else np.nan,
        np.mean([score.is_covered for score in scores]),
    )
    shares = " | ".join(f"{figure:.2f}" for figure in figures)
    width, covered = np.mean([s.width for s in scores]), np.mean([s.curve_covered for s in scores])
    return f"| {rated_to} | {sessions} | {world} | {shares} | {width:.1f} | {covered:.2f} |"


def vessel_rows(*, lots: int, start: int) -> Iterator[str]:
    yield "| cups rated | sessions | world | bands that came true |"
    yield "| --- " * 4 + "|"
    every: list[VesselScore] = []
    for rated_to in (3, 7):
        for sessions in SESSIONS:
            for number, (world, draw) in enumerate(WORLDS.items()):
                scores = [
                    one_vessel(
                        draw, sessions=sessions, rated_to=rated_to, seed=[start, 9, number, sessions, rated_to, lot]
                    )
                    for lot in range(lots)
                ]
                every += scores
                yield f"| {rated_to} | {sessions} | {world} | {np.mean([score.covered for score in scores]):.2f} |"
    yield ""
    yield "| stated | mean stated | came true | cups |"
    yield "| --- " * 4 + "|"
    stated, came_true = (
        np.concatenate([part.ravel() for part in parts])
        for parts in zip(*((score.stated, score.came_true) for score in every), strict=True)
    )
    place = np.clip(np.searchsorted(EDGES, stated, side="right") - 1, 0, len(EDGES) - 2)
    for i in range(len(EDGES) - 1):
        here = place == i
        if here.any():
            yield (
                f"| {EDGES[i]:.2f} to {EDGES[i + 1]:.2f} | {stated[here].mean():.2f} | {came_true[here].mean():.2f} "
                f"| {int(here.sum())} |"
            )


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lots", type=int, default=LOTS, help="of each row")
    parser.add_argument("--start", type=int, default=FIRST_SEED)
    parser.add_argument("--dry", action="store_true", help="print only")
    options = parser.parse_args()
    head = (
        f"By `python -m benchmarks.forecasts --lots {options.lots} --start {options.start}` on "
        f"{datetime.now(UTC).date()}, method {METHOD}."
    )
    for name, rows in (("course", course_rows), ("vessel", vessel_rows)):
        table = "\n".join(rows(lots=options.lots, start=options.start))
        print(table, flush=True)
        if not options.dry:
            write_between_marks("forecasts.md", name, f"{head}\n\n{table}\n")


if __name__ == "__main__":
    main()
