"""How near cups made by the brew guide come to their target in simulated lots that the method does not assume.

Run from the repository root: ``python -m benchmarks.guide_worlds``. The table goes to ``docs/guide.md``, between its
two marks, and to standard output. The worlds are those of ``benchmarks/worlds.py``. One core; three to eight minutes.
"""

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np

from benchmarks.documents import write_between_marks
from benchmarks.worlds import SimulatedLeaf, draw_leaf, draw_session, draw_team
from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import Pour
from tastings.maths.guide.answer import Guide
from tastings.maths.guide.leaf import known_leaf
from tastings.maths.guide.plan import RINSE_S, brew_guide
from tastings.maths.guide.pots import LONG_MUG, PotRequest
from tastings.maths.guide.target import ABOVE_LINE

WORLDS = ("saturating", "power")
SESSIONS = (1, 3, 8)
LOTS = 400
FIRST_SEED = 2031
"""Start of the random numbers: not used while the method was worked on."""
ADDED_S = 5.0
FULL = 0.8
"""Least share of the number that the guide names at which a cup counts as full here."""
INFUSIONS = ((1, 4), (5, 8), (9, 12), (13, 24), (1, 8), (1, 12))


@dataclass(frozen=True, slots=True)
class GuideCups:
    """The cups of one lot in one pot, against what the target stands for."""

    # guided, fixed, float64[n]: relative miss of each cup, by the guide and by the fixed rule [share of the target]
    guided: FloatArray
    fixed: FloatArray
    # float64[n]: the guide's against the number it names, the tasters' own use of the scale in it [share of the target]
    guided_number: FloatArray
    full: FloatArray  # float64[n]: probability, by the leaves that the tastings leave possible, that each cup is full
    sure: int  # the first so many are those of which the guide is sure
    ends_early: bool  # whether the guide ends because the leaf was never drawn further


MadeLots = tuple[str, int, list[GuideCups]]
"""World, sessions, and the lots brewed by their guides."""


def draw_pot(rng: np.random.Generator) -> PotRequest:
    """Draw a pot unlike that of the tastings: size, leaf, heat, pour, height."""
    vessel_ml = float(rng.uniform(80.0, 200.0))
    return PotRequest(
        vessel_ml=vessel_ml,
        leaf_g=vessel_ml * 5 / 110 * float(rng.uniform(0.7, 1.4)),
        kettle_c=float(rng.uniform(88.0, 100.0)),
        warmed=bool(rng.random() < 0.7),
        pour_s=float(rng.uniform(3.0, 15.0)),
        altitude_m=float(rng.uniform(0.0, 1500.0)),
    )


def true_strengths(leaf: SimulatedLeaf, guide: Guide, *, steeps_s: Sequence[float]) -> FloatArray:
    """Return the true strength of each cup when these steeps are brewed in the guide's pot. [points]."""
    return leaf.cups(guide.vessel.brew(_pours(guide, steeps_s=steeps_s)))[-len(steeps_s) :]


def _pours(guide: Guide, *, steeps_s: Sequence[float]) -> tuple[Pour, ...]:
    vessel = guide.vessel
    pours = [vessel.pour(number, steep_s=steep_s) for number, steep_s in enumerate(steeps_s, start=1)]
    if guide.rinse_s is not None:
        pours.insert(0, replace(vessel.pour(0, steep_s=RINSE_S), pour_s=0.0))
    return tuple(pours)


def one_lot(*, power: bool, sessions: int, rng: np.random.Generator, mug: bool = False) -> GuideCups:
    """Taste one lot, ask for a guide, and brew by it."""
    leaf, team = draw_leaf(rng, power=power), draw_team(rng)
    brews = [draw_session(leaf, team, number=i, rng=rng) for i in range(sessions)]
    pot = draw_pot(rng)
    if mug:
        pot = PotRequest(style=LONG_MUG, vessel_ml=float(rng.uniform(200.0, 400.0)), kettle_c=pot.kettle_c)
    guide = brew_guide(brews, pot=pot)
    known = known_leaf(brews).leaf
    if known is None or guide.target_strength is None or not guide.last_at_target:
        return GuideCups(
            guided=np.empty(0), fixed=np.empty(0), guided_number=np.empty(0), full=np.empty(0), sure=0, ends_early=False
        )
    # What the target stands for: the lot's true second even-brew cup, unless that is too near the finish line.
    stands_for = max(float(leaf.even_cups()[1]), known.finish_line + ABOVE_LINE)
    steeps_s = [infusion.steep_s for infusion in guide.infusions[: guide.last_at_target]]
    guided = true_strengths(leaf, guide, steeps_s=steeps_s)
    fixed = true_strengths(leaf, guide, steeps_s=[steeps_s[0] + ADDED_S * i for i in range(len(steeps_s))])
    of_draws = known.cups(guide.vessel.brew(_pours(guide, steeps_s=steeps_s)))[:, -len(steeps_s) :]
    return GuideCups(
        guided=guided / stands_for - 1,
        fixed=fixed / stands_for - 1,
        guided_number=guided / guide.target_strength - 1,
        full=np.mean(of_draws >= FULL * guide.target_strength, axis=0),
        sure=guide.last_sure or 0,
        ends_early=guide.first_beyond_tasted is not None,
    )


def rms(of: FloatArray) -> str:
    return f"{100 * float(np.sqrt(np.mean(of**2))):.1f}" if of.size else "-"


def guided_lots(*, lots: int, start: int) -> Iterator[MadeLots]:
    """Brew the lots of each world and number of sessions."""
    for place, world in enumerate(WORLDS):
        for sessions in SESSIONS:
            yield (
                world,
                sessions,
                [
                    one_lot(
                        power=world == "power",
                        sessions=sessions,
                        rng=np.random.default_rng([start, place, sessions, lot]),
                    )
                    for lot in range(lots)
                ],
            )


def rows(rows_made: Sequence[MadeLots], *, lots: int) -> Iterator[str]:
    heads = ("world", "sessions", "cups a lot", "sure of", "guide, sure cups", "+5 s, same cups", "guide, every cup",
             "+5 s, every cup", "guide, sure cups, against the number")  # fmt: skip
    yield "| " + " | ".join(heads) + " |"
    yield "| --- " * len(heads) + "|"
    for world, sessions, tasted in rows_made:
        every = sum(lot.guided.size for lot in tasted)
        sure = sum(lot.sure for lot in tasted)
        figures = (
            rms(np.concatenate([lot.guided[: lot.sure] for lot in tasted])),
            rms(np.concatenate([lot.fixed[: lot.sure] for lot in tasted])),
            rms(np.concatenate([lot.guided for lot in tasted])),
            rms(np.concatenate([lot.fixed for lot in tasted])),
            rms(np.concatenate([lot.guided_number[: lot.sure] for lot in tasted])),
        )
        yield f"| {world} | {sessions} | {every / lots:.1f} | {100 * sure / every:.0f} % | {' | '.join(figures)} |"


def infusion_rows(rows_made: Sequence[MadeLots]) -> Iterator[str]:
    """Give the guide's misses over some infusions: a mean over all of them changes with how far the guide goes."""
    yield "| world | sessions | " + " | ".join(f"cups {first} to {last}" for first, last in INFUSIONS) + " |"
    yield "| --- " * (2 + len(INFUSIONS)) + "|"
    for world, sessions, tasted in rows_made:
        figures = [rms(np.concatenate([x.guided[first - 1 : last] for x in tasted])) for first, last in INFUSIONS]
        yield f"| {world} | {sessions} | {' | '.join(figures)} |"


def full_rows(rows_made: Sequence[MadeLots]) -> Iterator[str]:
    """Give the probability that a cup is full, as the guide's leaf states it, and the share that are."""
    named = [f"cups {first} to {last}" for first, last in INFUSIONS[:4]]
    yield "| world | sessions | ends early | " + " | ".join(f"{of}: stated | full" for of in (*named, "last")) + " |"
    yield "| --- " * (3 + 2 * (len(named) + 1)) + "|"
    for world, sessions, tasted in rows_made:
        lots = [x for x in tasted if x.guided.size]
        cells = [
            _stated_and_full([(x.full[a - 1 : b], x.guided_number[a - 1 : b]) for x in lots]) for a, b in INFUSIONS[:4]
        ]
        cells.append(_stated_and_full([(x.full[-1:], x.guided_number[-1:]) for x in lots]))
        yield f"| {world} | {sessions} | {100 * np.mean([x.ends_early for x in lots]):.0f} % | {' | '.join(cells)} |"


def _stated_and_full(cups: Sequence[tuple[FloatArray, FloatArray]]) -> str:
    stated, off = (np.concatenate(parts) for parts in zip(*cups, strict=True))
    return f"{stated.mean():.2f} | {np.mean(off >= FULL - 1):.2f}" if stated.size else "- | -"


def mug_rows(*, lots: int, start: int) -> Iterator[str]:
    yield "| world | sessions | sure of | long mug, sure cups | every cup |"
    yield "| --- " * 5 + "|"
    for place, world in enumerate(WORLDS):
        for sessions in SESSIONS:
            mugs = [
                one_lot(
                    power=world == "power",
                    sessions=sessions,
                    mug=True,
                    rng=np.random.default_rng([start, 9, place, sessions, lot]),
                )
                for lot in range(lots)
            ]
            every = np.concatenate([mug.guided for mug in mugs])
            sure = np.concatenate([mug.guided[: mug.sure] for mug in mugs])
            yield f"| {world} | {sessions} | {100 * sure.size / every.size:.0f} % | {rms(sure)} | {rms(every)} |"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--lots", type=int, default=LOTS, help="for each row")
    parser.add_argument("--start", type=int, default=FIRST_SEED, help="start of the random numbers")
    chosen = parser.parse_args()
    day = datetime.now(UTC).date().isoformat()
    head = f"{chosen.lots} lots a row, start {chosen.start}, {day}. Root mean square miss in % of the target."
    guided = list(guided_lots(lots=chosen.lots, start=chosen.start))
    mugs = mug_rows(lots=chosen.lots, start=chosen.start)
    tables = (*rows(guided, lots=chosen.lots), "", *infusion_rows(guided), "", *full_rows(guided), "", *mugs)
    table = "\n".join([head, "", *tables, ""])
    print(table)
    write_between_marks("guide.md", "table", f"\n{table}\n")


if __name__ == "__main__":
    main()
