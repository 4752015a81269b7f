"""How far answers to a buyer's questions can be believed: readiness, arrivals, comparisons, flights on known truth.

Run from the repository root: ``python -m benchmarks.calibration``. Progress goes to standard error, markdown to
standard output; ``docs/measured.md`` has a run. One core; about five minutes at the usual size. The simulated lots are
those of ``benchmarks/questions.py``: leaf that the estimator does not assume, tasters that nobody has calibrated.
"""

import argparse
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from itertools import pairwise
from time import monotonic

import numpy as np

from benchmarks.questions import (
    BlindFlight,
    ComparedLots,
    RoastedLot,
    simulate_arrival,
    simulate_flight,
    simulate_pair,
    simulate_roasted_lot,
)
from benchmarks.study import Progress
from tastings.maths.comparison.arrival import NOTICEABLE, ArrivalCheck
from tastings.maths.comparison.side_by_side import LIKING
from tastings.maths.curve.estimate import STRENGTH
from tastings.maths.curve.profile import TAIL

LOTS = 1000
ARRIVALS = 100
SESSIONS = (1, 3, 6)
DIFFERENCES = (0.0, NOTICEABLE, 3.0)
FIRST_SEED = 4099
BIN_EDGES = (0.0, 0.05, 0.2, 0.4, 0.6, 0.8, 0.95, 1.0 + 1e-9)
SPREADS = (0.0, 0.3, 0.6, 1.2)
PARTS = ("readiness", "arrivals", "pairs", "flights")
ProgressCallback = Callable[[str, int, int], None]


def share(of: Sequence[bool]) -> str:
    """Return a share with its standard error, or a dash for a share of nothing."""
    if not of:
        return "-"
    part = float(np.mean(of))
    return f"{part:.3f} ± {(max(part * (1 - part), 0.25 / len(of)) / len(of)) ** 0.5:.3f}"


def bin_by_probability(kinds: Mapping[str, Sequence[tuple[float, bool]]]) -> str:
    """Return, by class of stated probability, how many answers of each kind, the mean stated, and the share true."""
    heads = [f"{kind}answers | mean stated | true" for kind in kinds]
    rows = ["| stated | " + " | ".join(heads) + " |", "| --- " + "| ---: " * 3 * len(kinds) + "|"]
    for low, high in pairwise(BIN_EDGES):
        row = f"| {low:g} to {min(high, 1.0):g} |"
        for answers in kinds.values():
            inside = [(p, true) for p, true in answers if low <= p < high]
            stated = f"{np.mean([p for p, _ in inside]):.3f}" if inside else "-"
            row += f" {len(inside)} | {stated} | {share([true for _, true in inside])} |"
        rows.append(row)
    return "\n".join(rows)


def readiness_table(lots: Sequence[RoastedLot]) -> str:
    """Return the figures of readiness as markdown."""
    dated = [one for one in lots if one.found.expected_on is not None]
    by_day = ", ".join(
        f"{share([one.ready_day <= one.dates[place] for one in dated if one.dates[place] < np.inf])}"
        f" of the dates with {100 * stated:.0f} %"
        for place, stated in enumerate((TAIL, 0.5, 1 - TAIL))
    )
    verdicts = "\n".join(
        f"| {verdict}, {basis} | {len(some)} | {share([one.truly_ready for one in some])}"
        f" | {share([one.truly_falls for one in some])} |"
        for verdict, basis in sorted({(one.found.verdict, one.found.basis) for one in lots})
        for some in [[one for one in lots if (one.found.verdict, one.found.basis) == (verdict, basis)]]
    )
    falling = [one for one in lots if one.truly_falls]
    trends = [(one.found.liking, change) for one in lots if one.found.liking and (change := one.change_of_liking)]
    kinds = {
        "ready today: ": [(one.found.probability, one.truly_ready) for one in lots],
        "under the level: ": [(one.found.under, one.roast.under_day <= one.today) for one in lots],
        "rested: ": [(one.found.rested, one.roast.rested_day <= one.today) for one in lots],
        "waiting makes it worse: ": [(one.found.falling, one.truly_falls) for one in lots],
    }
    return "\n".join(
        (
            "### Readiness",
            "",
            (
                f"A date for {len(dated)} of {len(lots)} lots. Its 80 % interval covers the day in"
                f" {share([one.covered for one in dated])}. Ready by the date were {by_day}."
                " The 80 % interval of how liking changes in 30 days covers it in"
                f" {share([trend.low <= change <= trend.high for trend, change in trends])} of {len(trends)}. Waiting"
                f" makes {len(falling)} lots worse; the answer stated that for"
                f" {share([one.found.basis == 'liking_falls' for one in falling])} of them."
            ),
            "",
            "| verdict, for the reason | lots | truly ready | waiting makes it worse |",
            "| --- | ---: | ---: | ---: |",
            verdicts,
            "",
            "Probabilities today:",
            "",
            bin_by_probability(
                {kind: [(p, true) for p, true in answers if p is not None] for kind, answers in kinds.items()}
            ),
        )
    )


def arrival_table(found: dict[tuple[float, bool, int], list[ArrivalCheck]]) -> str:
    """Return the figures of the arrival check as markdown."""
    rows = [
        "| true difference | tasters | sessions a side | called different | called same | mean detectable |",
        "| ---: | --- | ---: | ---: | ---: | ---: |",
    ]
    for (differs_by, other_tasters, sessions), some in found.items():
        detectable = float(np.mean([max(one.detectable for one in answer.compared) for answer in some]))
        rows.append(
            f"| {differs_by:g} | {'others' if other_tasters else 'the same'} | {sessions}"
            f" | {share([one.verdict == 'different' for one in some])}"
            f" | {share([one.verdict == 'same' for one in some])} | {detectable:.1f} |"
        )
    one_tea = [answer.verdict == "different" for (by, _, _), some in found.items() if by == 0 for answer in some]
    return "\n".join(
        (
            "### Arrival check",
            "",
            (
                f"Six descriptors, a difference in one of them or in none. One tea was called two in {share(one_tea)}"
                f" of {len(one_tea)} pairs. `mean detectable`: the difference that the answer says it would have seen"
                " in the descriptor known worst."
            ),
            "",
            *rows,
        )
    )


def pair_table(pairs: Sequence[ComparedLots]) -> str:
    """Return the figures of comparisons as markdown."""
    kinds = {
        "different leaf: ": [one for one in pairs if not one.alike],
        "alike: ": [one for one in pairs if one.alike],
    }
    parts = ["### Two lots side by side", "", "Half of the pairs are two lots of nearly the same leaf, `alike`.", ""]
    for key, words in ((STRENGTH, "strength"), (LIKING, "liking")):
        both = [(one, found) for one in pairs for found in one.pair.differences if found.descriptor == key]
        covered = [found.low <= one.true_more[key] <= found.high for one, found in both]
        parts.append(f"The 80 % interval of the difference in {words} covers it in {share(covered)} of {len(both)}.")
    questions: dict[str, Callable[[Sequence[ComparedLots]], list[tuple[float, bool]]]] = {
        "outlasts the other (has more worthwhile infusions)": outlast_probabilities,
        "is stronger": partial(more, STRENGTH),
        "is liked more": partial(more, LIKING),
    }
    for words, question in questions.items():
        by_kind = {kind: question(some) for kind, some in kinds.items()}
        parts += ["", f"Probability that one {words}:", "", bin_by_probability(by_kind)]
    return "\n".join(parts)


def outlast_probabilities(pairs: Sequence[ComparedLots]) -> list[tuple[float, bool]]:
    """Return the probability that a lot outlasts the other, and whether it does, for both lots of each pair."""
    return [
        (p, one.true_counts[0] * sign > one.true_counts[1] * sign)
        for one in pairs
        for p, sign in ((one.pair.outlasts, 1), (one.pair.outlasted, -1))
        if p is not None
    ]


def more(key: str, pairs: Sequence[ComparedLots]) -> list[tuple[float, bool]]:
    """Return the probability that a lot has more of something, and whether it has, for both lots of each pair."""
    probabilities = [(p, one.true_more[key] > 0) for one in pairs if (p := one.pair.more(key)) is not None]
    return [*probabilities, *((1 - p, not true) for p, true in probabilities)]


def flight_table(flights: Mapping[float, Sequence[BlindFlight]]) -> str:
    """Return the figures of blind flights as markdown."""
    kinds = {"all: ": [one for some in flights.values() for one in some]}
    kinds |= {f"{spread:g}: ": list(some) for spread, some in flights.items()}
    return "\n".join(
        (
            "### Best of a flight",
            "",
            (
                f"{len(kinds['all: '])} flights of three to eight lots; the lots differ by a standard deviation of"
                f" {', '.join(f'{spread:g}' for spread in flights)} points, in as many flights each. Where it is 0, one"
                " lot drawn at random counts as the best."
            ),
            "",
            bin_by_probability({kind: best_probabilities(some) for kind, some in kinds.items()}),
        )
    )


def best_probabilities(flights: Sequence[BlindFlight]) -> list[tuple[float, bool]]:
    """Return the probability of each lot of each flight that it is the best, and whether it is."""
    return [(lot.p_best, lot.lot == one.best) for one in flights for lot in one.standings]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lots", type=int, default=LOTS, help="roasted lots, pairs of lots, flights")
    parser.add_argument("--arrivals", type=int, default=ARRIVALS, help="of each kind")
    parser.add_argument("--start", type=int, default=FIRST_SEED, help="start of the random numbers")
    parser.add_argument("--only", choices=PARTS, help="one of the parts; its figures are those of the whole run")
    chosen = parser.parse_args()
    on_progress: ProgressCallback = Progress(begun=monotonic())
    for part in [chosen.only] if chosen.only else PARTS:
        if part == "readiness":
            lots = lots_of(chosen.lots, start=chosen.start, on_progress=on_progress)
            print(readiness_table(lots), end="\n\n", flush=True)
        elif part == "arrivals":
            arrivals = arrivals_of(chosen.arrivals, start=chosen.start, on_progress=on_progress)
            print(arrival_table(arrivals), end="\n\n", flush=True)
        elif part == "pairs":
            print(
                pair_table(pairs_of(chosen.lots, start=chosen.start, on_progress=on_progress)), end="\n\n", flush=True
            )
        else:
            print(flight_table(flights_of(chosen.lots, start=chosen.start, on_progress=on_progress)))


def lots_of(n: int, *, start: int, on_progress: ProgressCallback) -> list[RoastedLot]:
    """Return so many roasted lots."""
    found = []
    for lot in range(n):
        found.append(simulate_roasted_lot(np.random.default_rng([start, 1, lot])))
        on_progress("readiness", lot + 1, n)
    return found


def arrivals_of(
    n: int, *, start: int, on_progress: ProgressCallback
) -> dict[tuple[float, bool, int], list[ArrivalCheck]]:
    """Return so many arrivals of each kind: true difference, whether others tasted them, sessions a side."""
    found: dict[tuple[float, bool, int], list[ArrivalCheck]] = {}
    kinds = [
        (by, other_tasters, sessions) for by in DIFFERENCES for other_tasters in (False, True) for sessions in SESSIONS
    ]
    for number, (by, other_tasters, sessions) in enumerate(kinds):
        some = found[by, other_tasters, sessions] = []
        for lot in range(n):
            rng = np.random.default_rng([start, 2, number, lot])
            some.append(simulate_arrival(rng, sessions=sessions, other_tasters=other_tasters, differs_by=by))
            on_progress(f"arrivals, kind {number + 1} of {len(kinds)}", lot + 1, n)
    return found


def pairs_of(n: int, *, start: int, on_progress: ProgressCallback) -> list[ComparedLots]:
    """Return so many pairs of lots."""
    found = []
    for lot in range(n):
        found.append(simulate_pair(np.random.default_rng([start, 3, lot])))
        on_progress("pairs", lot + 1, n)
    return found


def flights_of(n: int, *, start: int, on_progress: ProgressCallback) -> dict[float, list[BlindFlight]]:
    """Return so many blind flights in all, as many of each spread of the lots."""
    found: dict[float, list[BlindFlight]] = {spread: [] for spread in SPREADS}
    for number in range(n):
        spread = SPREADS[number % len(SPREADS)]
        found[spread].append(simulate_flight(np.random.default_rng([start, 4, number]), spread=spread))
        on_progress("flights", number + 1, n)
    return found


if __name__ == "__main__":
    main()
