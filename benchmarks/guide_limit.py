"""How near to its target any guide could bring a cup, given the same tastings.

Run from the repository root: ``python -m benchmarks.guide_limit``. The table goes to ``docs/guide.md``, between its two
marks, and to standard output. About twenty minutes on two cores.

The peer is a guide that cannot exist: it knows the law of the simulated world (`benchmarks/worlds.py`) and from which
distributions its lots, tasters and thermometers are drawn. It weighs that many draws of lots and tasters by the
likelihood of the same ratings, rounded to half points and held to the scale as they are; thermometers are drawn along
and not learned from what they showed. It times each steep for the least expected squared relative miss, over the same
times, in the same pot, aiming at what the benchmark of the guide measures (`benchmarks/guide_worlds.py`): each leaf's
own second even-brew cup, or a point above the finish line. It does so in two ways: cup by cup, as the guide does, and
for all cups together, where early cups are spoilt a little for the sake of late ones, by moving one time after the
other until no move helps. That finds a good set of times, not surely the best there is.

``effective`` is how many equally weighted draws the weighted ones are worth (Kish), at the median and at the tenth of
lots that has the fewest: with few the peer is a little worse than it could be. Eight sessions leave too few.
"""

import argparse
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, fields, replace
from datetime import UTC, datetime
from functools import partial
from os import cpu_count

import numpy as np
from scipy.special import ndtr

from benchmarks.documents import write_between_marks
from benchmarks.guide_worlds import FIRST_SEED, WORLDS, draw_pot, rms, true_strengths
from benchmarks.worlds import MAKES, N_TASTERS, THERMOMETER_C, draw_leaf, draw_session, draw_team
from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import HIGHEST, LOWEST, Brew
from tastings.maths.brewing.even_brew import even_brew
from tastings.maths.brewing.extraction import REFERENCE_SHARE, effective_contact_s
from tastings.maths.brewing.heat import arrhenius_factor, steeping_of
from tastings.maths.guide.answer import Guide
from tastings.maths.guide.leaf import known_leaf
from tastings.maths.guide.plan import RINSE_S, brew_guide
from tastings.maths.guide.target import ABOVE_LINE
from tastings.maths.guide.timing import LONGEST_S, SHORTEST_S, timed_s

LOTS = 120
DRAWS = {1: 100_000, 3: 1_000_000}
"""By number of sessions."""
CHUNK = 50_000
N_RESAMPLED = 600
TIMES_S = tuple(sorted({timed_s(float(s)) for s in np.arange(SHORTEST_S, LONGEST_S + 1, 0.5)}))


@dataclass(frozen=True, slots=True)
class Draws:
    """Lots and tables of tasters as the world makes them, one of each per draw; names as in `benchmarks.worlds`."""

    # k_per_min, tau_s, ea_kj_mol, top, half, slope, power, float64[n_draws]: `power` is NaN in the saturating world
    k_per_min: FloatArray
    tau_s: FloatArray
    ea_kj_mol: FloatArray
    top: FloatArray
    half: FloatArray
    slope: FloatArray
    power: FloatArray
    # float64[n_draws, n_tasters] from here on
    gain: FloatArray
    shift: FloatArray
    noise: FloatArray

    @classmethod
    def of(cls, n: int, *, power: bool, rng: np.random.Generator) -> "Draws":
        """Draw as `draw_leaf` and `draw_team` do."""
        make = np.array(MAKES)[rng.integers(len(MAKES), size=n)]
        gain = np.clip(rng.normal(1.0, 0.15, (n, N_TASTERS)), 0.6, 1.4)
        shift = rng.normal(0.0, 0.5, (n, N_TASTERS))
        return cls(
            k_per_min=make[:, 0] * np.exp(rng.normal(0.0, 0.4, n)),
            tau_s=make[:, 1] * np.exp(rng.normal(0.0, 0.5, n)),
            ea_kj_mol=rng.uniform(20.0, 50.0, n),
            top=rng.uniform(4.0, 8.0, n) if power else rng.uniform(7.0, 10.0, n),
            half=rng.uniform(0.5, 1.5, n),
            slope=rng.uniform(0.9, 1.6, n),
            power=rng.uniform(0.4, 1.0, n) if power else np.full(n, np.nan),
            gain=gain / gain.mean(axis=1, keepdims=True),
            shift=shift - shift.mean(axis=1, keepdims=True),
            noise=rng.uniform(0.5, 1.0, (n, N_TASTERS)),
        )

    def picked(self, places: np.ndarray) -> "Draws":
        """Return some of the draws, any of them as often as named."""
        return Draws(**{field.name: getattr(self, field.name)[places] for field in fields(self)})

    def cups(self, brew: Brew, *, off_c: FloatArray | None = None) -> FloatArray:
        """Return strengths, float64[n_draws, n_pours], with water ``off_c`` hotter than reported. [points]."""
        steeping = steeping_of(brew, brew.pours)
        water_c = ((steeping.start_c + steeping.end_c) / 2)[None, :]
        if off_c is not None:
            water_c = water_c + off_c[:, None]
        # arrhenius_factor takes one energy; the ratio of two energies is the exponent of its answer
        rate = arrhenius_factor(water_c, ea_kj_mol=1.0) ** self.ea_kj_mol[:, None]
        wetted = effective_contact_s(np.cumsum(steeping.contact_s)[None, :], tau_s=self.tau_s[:, None])
        steps = self.k_per_min[:, None] * rate * np.diff(wetted, axis=1, prepend=0.0) / 60
        share = np.exp(steps - np.cumsum(steps, axis=1)) * -np.expm1(-steps)
        content = share * steeping.ratio / REFERENCE_SHARE
        if not np.isnan(self.power[0]):
            return np.clip(self.top[:, None] * content ** self.power[:, None], LOWEST, HIGHEST)
        content **= self.slope[:, None]
        return np.asarray(self.top[:, None] * content / (content + self.half[:, None] ** self.slope[:, None]))

    def log_likelihood(self, brew: Brew, *, rng: np.random.Generator) -> FloatArray:
        """Return float64[n_draws]: of one session's ratings of strength, its thermometer drawn along."""
        taster = int(brew.taster.split()[1])
        off_c = -rng.normal(0.0, THERMOMETER_C, self.top.size)
        mean = self.shift[:, [taster]] + self.gain[:, [taster]] * self.cups(brew, off_c=off_c)
        log_likelihood = np.zeros(self.top.size)
        for place, pour in enumerate(brew.pours):
            if pour.tasted:
                rating = pour.ratings["strength"]
                below = (rating + 0.25 - mean[:, place]) / self.noise[:, taster] if rating < HIGHEST else np.inf
                above = (rating - 0.25 - mean[:, place]) / self.noise[:, taster] if rating > LOWEST else -np.inf
                log_likelihood += np.log(np.maximum(ndtr(below) - ndtr(above), 1e-12))
        return log_likelihood


@dataclass(frozen=True, slots=True)
class LotMisses:
    """One lot: relative miss of each cup by the guide and by the peer; the guide is sure of the first so many."""

    guided: FloatArray
    cup_by_cup: FloatArray
    jointly: FloatArray
    sure: int
    effective: float


def importance_sample(brews: list[Brew], *, power: bool, rng: np.random.Generator) -> tuple[Draws, float]:
    """Return equally likely draws given the tastings, and how many the weighted ones were worth."""
    parts, logs = list[Draws](), list[FloatArray]()
    for _ in range(DRAWS[len(brews)] // CHUNK):
        draws = Draws.of(CHUNK, power=power, rng=rng)
        logs_of = sum((draws.log_likelihood(brew, rng=rng) for brew in brews), np.zeros(CHUNK))
        best = np.argsort(logs_of)[-CHUNK // 5 :]  # the rest weighs next to nothing and need not be kept
        parts.append(draws.picked(best))
        logs.append(logs_of[best])
    log = np.concatenate(logs)
    whole = Draws(**{f.name: np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(Draws)})
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    steps = (rng.random() + np.arange(N_RESAMPLED)) / N_RESAMPLED
    places = np.searchsorted(np.cumsum(weight), steps).clip(0, weight.size - 1)
    return whole.picked(places), float(1 / np.sum(weight**2))


@dataclass(frozen=True, slots=True)
class OracleGuide:
    """The guide that cannot exist, in the pot of one that does: what the leaf may be, and what its cups should be."""

    guide: Guide
    likely: Draws
    goal: FloatArray

    def expected_misses(self, steeps_s: Sequence[float]) -> FloatArray:
        """Return float64[n_cups]: the expected squared relative miss of each cup."""
        vessel = self.guide.vessel
        pours = [vessel.pour(number, steep_s=steep_s) for number, steep_s in enumerate(steeps_s, start=1)]
        rinse = replace(vessel.pour(0, steep_s=RINSE_S), pour_s=0.0)
        cups = self.likely.cups(vessel.brew((rinse, *pours)))[:, 1:]
        return np.asarray(np.mean((cups / self.goal[:, None] - 1) ** 2, axis=0))

    def cup_by_cup(self, cups: int) -> list[float]:
        """Time each steep for its own cup, given those before. [s]."""
        chosen: list[float] = []
        for _ in range(cups):
            chosen.append(min(TIMES_S, key=lambda steep_s: float(self.expected_misses([*chosen, steep_s])[-1])))
        return chosen

    def optimise_jointly(self, start_s: Sequence[float]) -> list[float]:
        """Time all steeps for the sum over cups, from these times on. [s]."""
        best, least = list(start_s), float(self.expected_misses(start_s).sum())
        moved = True
        while moved:
            moved = False
            for place in range(len(best)):
                at = TIMES_S.index(best[place])
                for step in (-4, -2, -1, 1, 2, 4):
                    if 0 <= at + step < len(TIMES_S):
                        trial = [*best[:place], TIMES_S[at + step], *best[place + 1 :]]
                        misses = float(self.expected_misses(trial).sum())
                        if misses < least * (1 - 1e-6):
                            best, least, moved = trial, misses, True
        return best


def one_lot(lot: int, *, place: int, sessions: int) -> LotMisses | None:
    """Taste one lot of `benchmarks.guide_worlds` again, and brew it by its guide and by the peer's."""
    power = WORLDS[place] == "power"
    rng = np.random.default_rng([FIRST_SEED, place, sessions, lot])
    leaf, team = draw_leaf(rng, power=power), draw_team(rng)
    brews = [draw_session(leaf, team, number=i, rng=rng) for i in range(sessions)]
    guide, known = brew_guide(brews, pot=draw_pot(rng)), known_leaf(brews).leaf
    if known is None or not guide.last_at_target:
        return None
    line = known.finish_line + ABOVE_LINE
    stands_for = max(float(leaf.even_cups()[1]), line)
    likely, effective = importance_sample(
        brews, power=power, rng=np.random.default_rng([FIRST_SEED, 7, place, sessions, lot])
    )
    own_s = [infusion.steep_s for infusion in guide.infusions[: guide.last_at_target]]
    goal = np.maximum(likely.cups(even_brew())[:, 2], line)  # after the rinse, the second cup
    peer = OracleGuide(guide=guide, likely=likely, goal=goal)
    by_cup_s = peer.cup_by_cup(len(own_s))
    start_s = min(by_cup_s, own_s, key=lambda steeps_s: float(peer.expected_misses(steeps_s).sum()))
    guided, by_cup, jointly = (
        true_strengths(leaf, guide, steeps_s=steeps_s) / stands_for - 1
        for steeps_s in (own_s, by_cup_s, peer.optimise_jointly(start_s))
    )
    return LotMisses(
        guided=guided,
        cup_by_cup=by_cup,
        jointly=jointly,
        sure=guide.last_sure or 0,
        effective=effective,
    )


def rows(*, lots: int) -> Iterator[str]:
    """Give the table line by line as it comes to be."""
    heads = ("world", "sessions", "every cup: guide", "peer, cup by cup", "peer, all together", "sure cups: guide",
             "peer, cup by cup", "peer, all together", "effective draws", "of the poorest tenth")  # fmt: skip
    yield "| " + " | ".join(heads) + " |"
    yield "| --- " * len(heads) + "|"
    with ProcessPoolExecutor(cpu_count()) as pool:
        for place, world in enumerate(WORLDS):
            for sessions in DRAWS:
                results = pool.map(partial(one_lot, place=place, sessions=sessions), range(lots))
                known = [lot for lot in results if lot is not None]
                effective = [lot.effective for lot in known]
                kinds = ("guided", "cup_by_cup", "jointly")
                figures = (
                    *(rms(np.concatenate([getattr(lot, kind) for lot in known])) for kind in kinds),
                    *(rms(np.concatenate([getattr(lot, kind)[: lot.sure] for lot in known])) for kind in kinds),
                    f"{np.median(effective):.0f}",
                    f"{np.quantile(effective, 0.1):.0f}",
                )
                yield f"| {world} | {sessions} | {' | '.join(figures)} |"


def main() -> None:
    """Measure, print, and write the table into the page."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--lots", type=int, default=LOTS, help="for each row")
    lots = parser.parse_args().lots
    day = datetime.now(UTC).date().isoformat()
    lines = [f"{lots} lots a row, start {FIRST_SEED}, {day}. Root mean square miss in % of the target.", ""]
    for line in rows(lots=lots):
        print(line, flush=True)
        lines.append(line)
    write_between_marks("guide.md", "limit", "\n".join(["", *lines, "", ""]))


if __name__ == "__main__":
    main()
