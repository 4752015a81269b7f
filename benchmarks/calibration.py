"""How far answers to a buyer's questions can be believed: readiness, arrivals, comparisons, flights on known truth.

Run from the repository root: ``python -m benchmarks.calibration``. Progress goes to standard error, markdown to
standard output; ``docs/measured.md`` has a run. One core; about forty minutes at the usual size. Simulated lots are
those of ``benchmarks/questions.py``: leaf that the estimator does not assume, tasters that nobody has calibrated.
"""

import argparse
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from itertools import pairwise
from time import monotonic

import numpy as np

from benchmarks.hard_worlds import HARD_WORLDS
from benchmarks.progress import Progress, ProgressCallback
from benchmarks.questions import (
    BlindFlight,
    ComparedLots,
    RoastedLot,
    simulate_arrival,
    simulate_flight,
    simulate_pair,
    simulate_roasted_lot,
)
from benchmarks.worlds import USUAL_SPREAD, Table, TeamSpread
from tastings.maths.comparison.arrival import NOTICEABLE, ArrivalCheck
from tastings.maths.comparison.side_by_side import LIKING
from tastings.maths.curve.estimate import STRENGTH
from tastings.maths.curve.profile import TAIL

LOTS = 4000
ARRIVALS = 100
SESSIONS = (1, 3, 6)
DIFFERENCES = (0.0, NOTICEABLE, 3.0)
FIRST_SEED = 4099
BIN_EDGES = (0.0, 0.05, 0.2, 0.4, 0.6, 0.8, 0.95, 1.0 + 1e-9)
LEAST_ANSWERS = 150
"""A class of fewer answers is not judged: its share true has an error of 0.04 and more."""
SPREADS = (0.0, 0.3, 0.6, 1.2)
PARTS = ("readiness", "arrivals", "pairs", "flights")
PUBLISHED = HARD_WORLDS["real panels"]
TASTERS: Mapping[str, tuple[TeamSpread, Table]] = {
    "usual": (USUAL_SPREAD, Table(session_shift_sd=0.2)),
    "published": (PUBLISHED.spread, PUBLISHED.table),
}
"""Whose tasters, of readiness and pairs: those of the study, or as uneven as on published panels.

Nobody rates alike on two days: those of the study differ here by as much as the simulated tasters of flights do.
"""


def share(of: Sequence[bool]) -> str:
    """Return a share with its standard error, or a dash for a share of nothing."""
    if not of:
        return "-"
    part = float(np.mean(of))
    return f"{part:.3f} ± {(max(part * (1 - part), 0.25 / len(of)) / len(of)) ** 0.5:.3f}"


def bin_by_probability(kinds: Mapping[str, Sequence[tuple[float, bool]]]) -> str:
    """Return, by class of stated probability, how many answers of each kind, the mean stated, and the share true.

    Below the table stands, for each kind, the most that a class of at least :data:`LEAST_ANSWERS` answers is off.
    """
    heads = [f"{kind}answers | mean stated | true" for kind in kinds]
    rows = ["| stated | " + " | ".join(heads) + " |", "| --- " + "| ---: " * 3 * len(kinds) + "|"]
    off = dict.fromkeys(kinds, 0.0)
    for low, high in pairwise(BIN_EDGES):
        row = f"| {low:g} to {min(high, 1.0):g} |"
        for kind, answers in kinds.items():
            inside = [(p, true) for p, true in answers if low <= p < high]
            stated = float(np.mean([p for p, _ in inside])) if inside else None
            if stated is not None and len(inside) >= LEAST_ANSWERS:
                off[kind] = max(off[kind], abs(float(np.mean([true for _, true in inside])) - stated))
            row += f" {len(inside)} | {'-' if stated is None else f'{stated:.3f}'} | {share([t for _, t in inside])} |"
        rows.append(row)
    most = ", ".join(f"{kind}{by:.3f}" for kind, by in off.items())
    return "\n".join([*rows, "", f"Classes of at least {LEAST_ANSWERS} answers are off by at most: {most}."])


def readiness_table(lots: Sequence[RoastedLot]) -> str:
    """Return the figures of readiness as markdown."""
    dated = [lot for lot in lots if lot.answer.expected_on is not None]
    by_day = ", ".join(
        f"{share([lot.ready_day <= lot.dates[place] for lot in dated if lot.dates[place] < np.inf])}"
        f" of the dates with {100 * stated:.0f} %"
        for place, stated in enumerate((TAIL, 0.5, 1 - TAIL))
    )
    verdicts = "\n".join(
        f"| {verdict}, {basis} | {len(group)} | {share([lot.truly_ready for lot in group])}"
        f" | {share([lot.truly_falls for lot in group])} |"
        for verdict, basis in sorted({(lot.answer.verdict, lot.answer.basis) for lot in lots})
        for group in [[lot for lot in lots if (lot.answer.verdict, lot.answer.basis) == (verdict, basis)]]
    )
    falling = [lot for lot in lots if lot.truly_falls]
    trends = [(lot.answer.liking, change) for lot in lots if lot.answer.liking and (change := lot.change_of_liking)]
    kinds = {
        "ready today: ": [(lot.answer.probability, lot.truly_ready) for lot in lots],
        "under the level: ": [(lot.answer.under, lot.roast.under_day <= lot.today) for lot in lots],
        "rested: ": [(lot.answer.rested, lot.roast.rested_day <= lot.today) for lot in lots],
        "waiting makes it worse: ": [(lot.answer.falling, lot.truly_falls) for lot in lots],
    }
    return "\n".join(
        (
            "### Readiness",
            "",
            (
                f"A date for {len(dated)} of {len(lots)} lots. Its 80 % interval covers the day in"
                f" {share([lot.covered for lot in dated])}. Ready by the date were {by_day}."
                " The 80 % interval of how liking changes in 30 days covers it in"
                f" {share([trend.low <= change <= trend.high for trend, change in trends])} of {len(trends)}. Waiting"
                f" makes {len(falling)} lots worse; the answer stated that for"
                f" {share([lot.answer.basis == 'liking_falls' for lot in falling])} of them."
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


def arrival_table(arrivals: dict[tuple[float, bool, int], list[ArrivalCheck]]) -> str:
    """Return the figures of the arrival check as markdown."""
    rows = [
        "| true difference | tasters | sessions a side | called different | called same | mean detectable |",
        "| ---: | --- | ---: | ---: | ---: | ---: |",
    ]
    for (differs_by, other_tasters, sessions), answers in arrivals.items():
        detectable = float(np.mean([max(row.detectable for row in answer.compared) for answer in answers]))
        rows.append(
            f"| {differs_by:g} | {'others' if other_tasters else 'the same'} | {sessions}"
            f" | {share([answer.verdict == 'different' for answer in answers])}"
            f" | {share([answer.verdict == 'same' for answer in answers])} | {detectable:.1f} |"
        )
    one_tea = [answer.verdict == "different" for (by, _, _), group in arrivals.items() if by == 0 for answer in group]
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
        "different leaf: ": [pair for pair in pairs if not pair.alike],
        "alike: ": [pair for pair in pairs if pair.alike],
    }
    parts = ["### Two lots side by side", "", "Half of the pairs are two lots of nearly the same leaf, `alike`.", ""]
    for key, words in ((STRENGTH, "strength"), (LIKING, "liking")):
        both = [(pair, row) for pair in pairs for row in pair.pair.differences if row.descriptor == key]
        covered = [row.low <= pair.true_more[key] <= row.high for pair, row in both]
        parts.append(f"The 80 % interval of the difference in {words} covers it in {share(covered)} of {len(both)}.")
    questions: dict[str, Callable[[Sequence[ComparedLots]], list[tuple[float, bool]]]] = {
        "outlasts the other (has more worthwhile infusions)": outlast_probabilities,
        "is stronger": partial(probabilities_of_more, STRENGTH),
        "is liked more": partial(probabilities_of_more, LIKING),
    }
    kinds |= {"all: ": list(pairs)}
    for words, question in questions.items():
        by_kind = {kind: question(group) for kind, group in kinds.items()}
        parts += ["", f"Probability that one {words}:", "", bin_by_probability(by_kind)]
    return "\n".join(parts)


def outlast_probabilities(pairs: Sequence[ComparedLots]) -> list[tuple[float, bool]]:
    """Return the probability that a lot outlasts the other, and whether it does, for both lots of each pair."""
    return [
        (p, pair.true_counts[0] * sign > pair.true_counts[1] * sign)
        for pair in pairs
        for p, sign in ((pair.pair.outlasts, 1), (pair.pair.outlasted, -1))
        if p is not None
    ]


def probabilities_of_more(key: str, pairs: Sequence[ComparedLots]) -> list[tuple[float, bool]]:
    """Return the probability that a lot has more of something, and whether it has, for both lots of each pair."""
    probabilities = [(p, pair.true_more[key] > 0) for pair in pairs if (p := pair.pair.more(key)) is not None]
    return [*probabilities, *((1 - p, not true) for p, true in probabilities)]


def flight_table(flights: Mapping[float, Sequence[BlindFlight]]) -> str:
    """Return the figures of blind flights as markdown."""
    kinds = {"all: ": [flight for group in flights.values() for flight in group]}
    kinds |= {f"{spread:g}: ": list(group) for spread, group in flights.items()}
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
            bin_by_probability({kind: best_probabilities(group) for kind, group in kinds.items()}),
        )
    )


def best_probabilities(flights: Sequence[BlindFlight]) -> list[tuple[float, bool]]:
    """Return the probability of each lot of each flight that it is the best, and whether it is."""
    return [(lot.p_best, lot.lot == flight.best) for flight in flights for lot in flight.standings]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lots", type=int, default=LOTS, help="roasted lots, pairs of lots, flights")
    parser.add_argument("--arrivals", type=int, default=ARRIVALS, help="of each kind")
    parser.add_argument("--start", type=int, default=FIRST_SEED, help="start of the random numbers")
    parser.add_argument("--only", choices=PARTS, help="one of the parts; its figures are those of the whole run")
    parser.add_argument("--tasters", choices=TASTERS, default="usual", help="of readiness and pairs")
    chosen = parser.parse_args()
    on_progress: ProgressCallback = Progress(begun=monotonic())
    for part in [chosen.only] if chosen.only else PARTS:
        if part == "readiness":
            lots = lots_of(chosen.lots, start=chosen.start, tasters=chosen.tasters, on_progress=on_progress)
            print(readiness_table(lots), end="\n\n", flush=True)
        elif part == "arrivals":
            arrivals = arrivals_of(chosen.arrivals, start=chosen.start, on_progress=on_progress)
            print(arrival_table(arrivals), end="\n\n", flush=True)
        elif part == "pairs":
            pairs = pairs_of(chosen.lots, start=chosen.start, tasters=chosen.tasters, on_progress=on_progress)
            print(pair_table(pairs), end="\n\n", flush=True)
        else:
            print(flight_table(flights_of(chosen.lots, start=chosen.start, on_progress=on_progress)))


def lots_of(n: int, *, start: int, tasters: str, on_progress: ProgressCallback) -> list[RoastedLot]:
    """Return so many roasted lots."""
    lots = []
    spread, table = TASTERS[tasters]
    for lot in range(n):
        lots.append(simulate_roasted_lot(np.random.default_rng([start, 1, lot]), spread=spread, table=table))
        on_progress("readiness", lot + 1, n)
    return lots


def arrivals_of(
    n: int, *, start: int, on_progress: ProgressCallback
) -> dict[tuple[float, bool, int], list[ArrivalCheck]]:
    """Return so many arrivals of each kind: true difference, whether others tasted them, sessions a side."""
    arrivals: dict[tuple[float, bool, int], list[ArrivalCheck]] = {}
    kinds = [
        (by, other_tasters, sessions) for by in DIFFERENCES for other_tasters in (False, True) for sessions in SESSIONS
    ]
    for number, (by, other_tasters, sessions) in enumerate(kinds):
        answers = arrivals[by, other_tasters, sessions] = []
        for lot in range(n):
            rng = np.random.default_rng([start, 2, number, lot])
            answers.append(simulate_arrival(rng, sessions=sessions, other_tasters=other_tasters, differs_by=by))
            on_progress(f"arrivals, kind {number + 1} of {len(kinds)}", lot + 1, n)
    return arrivals


def pairs_of(n: int, *, start: int, tasters: str, on_progress: ProgressCallback) -> list[ComparedLots]:
    """Return so many pairs of lots."""
    pairs = []
    spread, table = TASTERS[tasters]
    for lot in range(n):
        pairs.append(simulate_pair(np.random.default_rng([start, 3, lot]), spread=spread, table=table))
        on_progress("pairs", lot + 1, n)
    return pairs


def flights_of(n: int, *, start: int, on_progress: ProgressCallback) -> dict[float, list[BlindFlight]]:
    """Return so many blind flights in all, as many of each spread of the lots."""
    flights: dict[float, list[BlindFlight]] = {spread: [] for spread in SPREADS}
    for number in range(n):
        spread = SPREADS[number % len(SPREADS)]
        flights[spread].append(simulate_flight(np.random.default_rng([start, 4, number]), spread=spread))
        on_progress("flights", number + 1, n)
    return flights


if __name__ == "__main__":
    main()
