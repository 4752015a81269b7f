"""How often an odd pour is found in a session, and how often an ordinary pour is blamed with it.

Run from the repository root: ``python -m benchmarks.odd_pours``; one core, under a minute. Prints the tables of
``docs/measured.md``. Sessions of 3 to 12 infusions are poured as people pour: even steeps; 5 or 10 s more each time; 5
to 35 % more each time; or the steeps of six kinds of tea, whose second is shorter and whose last ones grow by a third.
Contacts vary by 7 % and 1.2 s. In each session nothing, one pour or two are odd, or the habit changes for good. Beside
the method: the median of the two neighbours on each side, which it replaced, and a robust line over the session
(repeated medians, Siegel 1982).
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tastings.maths.arrays import BoolArray, FloatArray
from tastings.maths.curve.odd_pours import OTHER_CONTACT, OTHER_CONTACT_AT_THE_ENDS, cool_pours, odd_contacts

START = 2027
SESSIONS = 600
STYLES_S = (
    (12, 10, 12, 15, 18, 22, 28, 36, 50, 70, 95, 130),
    (22, 16, 18, 20, 24, 30, 38, 50, 70, 95, 130, 170),
    (25, 22, 30, 45, 65, 90, 120, 150, 200, 240, 290, 300),
    (20, 20, 22, 25, 30, 40, 55, 75, 100, 130, 160, 200),
    (12, 12, 16, 22, 32, 48, 75, 110, 150, 200, 250, 300),
    (8, 8, 8, 10, 13, 17, 24, 34, 48, 70, 100, 140),
)
"""Steeps of six kinds of tea (common practice, no source). [s]"""
HABITS = ("even", "5 s more", "10 s more", "a share more", "by kind of tea")
TROUBLES = (
    "nothing odd",
    "inner pour doubled",
    "inner pour halved",
    "inner pour three times",
    "first pour three times",
    "last pour three times",
    "two inner pours, twice or half",
    "all from some pour on doubled",
)
KETTLES = ("heated again each time", "cools by 0.4 °C a pour")
COOLED_C = 8.0
COOLED = ("nothing odd", "one pour 8 °C cooler", "one pour 8 °C cooler, half of the pours not read")

Finder = Callable[[Sequence[float]], set[int]]


@dataclass(frozen=True, slots=True)
class Rates:
    """Share of the odd pours that were found, and of the sessions in which an ordinary pour was blamed."""

    detected: float
    blamed: float

    def __str__(self) -> str:
        """Return both as cells of a table."""
        return f"{'' if np.isnan(self.detected) else f'{self.detected:.2f}'} | {self.blamed:.2f}"


def by_method(contacts_s: Sequence[float]) -> set[int]:
    """Return the places of the odd pours by the method in use."""
    return set(odd_contacts(range(1, len(contacts_s) + 1), contacts_s))


def by_neighbours(contacts_s: Sequence[float]) -> set[int]:
    """Return the places of the odd pours by the median of their neighbours."""
    n, odd = len(contacts_s), set()
    for place in range(n):
        reach = 2 if 0 < place < n - 1 else 3
        around = [contacts_s[p] for p in range(place - reach, place + reach + 1) if p != place and 0 <= p < n]
        if abs(np.log(contacts_s[place] / np.median(around))) >= _least(place, n):
            odd.add(place)
    return odd


def by_line(contacts_s: Sequence[float]) -> set[int]:
    """Return the places of the odd pours by repeated medians of log contact against infusion number."""
    n, log_s = len(contacts_s), np.log(contacts_s)
    slopes = [[(log_s[j] - log_s[i]) / (j - i) for j in range(n) if j != i] for i in range(n)]
    line = log_s - np.median(np.median(slopes, axis=1)) * np.arange(n)
    off = np.abs(line - np.median(line))
    return {place for place in range(n) if off[place] >= _least(place, n)}


def _least(place: int, n: int) -> float:
    return float(np.log(OTHER_CONTACT if 0 < place < n - 1 else OTHER_CONTACT_AT_THE_ENDS))


METHODS: Mapping[str, Finder] = {"the method": by_method, "neighbours": by_neighbours, "line": by_line}


def contacts_of(habit: str, n: int, *, rng: np.random.Generator) -> FloatArray:
    """Return the contacts of an ordinary session of n pours, float64[n] [s]."""
    order = np.arange(n)
    match habit:
        case "even":
            steep_s = np.full(n, rng.uniform(10.0, 30.0))
        case "5 s more":
            steep_s = rng.choice([10.0, 15.0, 20.0]) + 5.0 * order
        case "10 s more":
            steep_s = rng.choice([15.0, 20.0, 30.0]) + 10.0 * order
        case "a share more":
            steep_s = rng.uniform(8.0, 25.0) * rng.uniform(1.05, 1.35) ** order
        case _by_kind:
            steep_s = np.array(STYLES_S[int(rng.integers(len(STYLES_S)))][:n]) * rng.uniform(0.75, 1.3)
    poured = steep_s * np.exp(rng.normal(0.0, 0.07, n)) + rng.normal(0.0, 1.2, n)
    return np.asarray(np.round(np.maximum(poured, 3.0)) + rng.uniform(2.0, 6.0) / 2, dtype=np.float64)


def sessions_with(trouble: str, *, habit: str, sessions: int, start: int) -> Iterator[tuple[FloatArray, set[int]]]:
    """Yield contacts [s] and the places of the odd pours among them."""
    rng = np.random.default_rng([start, HABITS.index(habit), TROUBLES.index(trouble)])
    for _ in range(sessions):
        two, changed = trouble.startswith("two"), trouble.startswith("all")
        n = int(rng.integers(6 if two or changed else 3, 13))
        contacts_s = contacts_of(habit, n, rng=rng)
        words = trouble.split()
        factor = {"doubled": 2.0, "halved": 0.5, "times": 3.0}.get(words[-1], 1.0)
        odd: list[int] = []
        if two:
            odd = [int(place) for place in rng.choice(np.arange(1, n - 1), 2, replace=False)]
            contacts_s[odd] *= rng.choice([0.5, 2.0], 2)
        elif changed:
            contacts_s[int(rng.integers(2, n - 2)) :] *= factor
        elif factor != 1.0:
            odd = [{"first": 0, "last": n - 1}.get(words[0], int(rng.integers(1, n - 1)))]
            contacts_s[odd] *= factor
        yield contacts_s, set(odd)


def contact_rates(trouble: str, find: Finder, *, sessions: int = SESSIONS, start: int = START) -> list[Rates]:
    """Return how often odd pours are found and ordinary ones blamed, for each habit."""
    return [
        _rates([(find(contacts_s.tolist()), odd) for contacts_s, odd in drawn])
        for habit in HABITS
        for drawn in [list(sessions_with(trouble, habit=habit, sessions=sessions, start=start))]
    ]


def kettle_rates(
    trouble: str, kettle: str, *, sessions: int = SESSIONS, start: int = START, judges_unread: bool = False
) -> Rates:
    """Return how often a cooled kettle is found and another pour blamed.

    A pour whose kettle was not read has the last reading; ``judges_unread`` takes it for its own, as was done before.
    """
    rng = np.random.default_rng([start, COOLED.index(trouble), KETTLES.index(kettle)])
    pairs: list[tuple[set[int], set[int]]] = []
    for _ in range(sessions):
        n = int(rng.integers(3, 13))
        drift_c = 0.0 if kettle == KETTLES[0] else 0.4
        water_c = np.minimum(98.0 - drift_c * np.arange(n) + rng.normal(0.0, 1.0 - drift_c, n), 100.0)
        is_known: BoolArray = np.ones(n, dtype=np.bool_)
        if trouble.endswith("not read"):
            is_known = rng.random(n) < 0.5
            is_known[0] = True
        odd: set[int] = set()
        if trouble != COOLED[0]:
            odd = {int(rng.integers(n))}
            water_c[list(odd)] -= COOLED_C
            is_known[list(odd)] = True
        last_read = np.maximum.accumulate(np.where(is_known, np.arange(n), 0))
        is_read = (is_known | judges_unread).tolist()
        pairs.append((set(cool_pours(np.round(water_c)[last_read].tolist(), is_read=is_read)), odd))
    return _rates(pairs)


def _rates(pairs: Sequence[tuple[set[int], set[int]]]) -> Rates:
    """Return the rates of places named and places truly odd, one pair for each session."""
    n_odd = sum(len(odd) for _, odd in pairs)
    return Rates(
        detected=sum(len(named & odd) for named, odd in pairs) / n_odd if n_odd else float("nan"),
        blamed=float(np.mean([bool(named - odd) for named, odd in pairs])),
    )


def _mean(rates: Sequence[Rates]) -> Rates:
    return Rates(float(np.mean([rate.detected for rate in rates])), float(np.mean([rate.blamed for rate in rates])))


def main() -> None:
    """Print the tables."""
    print("| in the session |" + "".join(f" {name}: found | blamed |" for name in METHODS))
    print("| --- |" + " --- |" * 2 * len(METHODS))
    for trouble in TROUBLES:
        cells = " | ".join(str(_mean(contact_rates(trouble, find))) for find in METHODS.values())
        print(f"| {trouble} | {cells} |")
    print()
    print("| kettle | in the session | the method: found | blamed | unread pours judged: found | blamed |")
    print("| --- |" + " --- |" * 5)
    for kettle in KETTLES:
        for trouble in COOLED:
            cells = " | ".join(str(kettle_rates(trouble, kettle, judges_unread=judges)) for judges in (False, True))
            print(f"| {kettle} | {trouble} | {cells} |")


if __name__ == "__main__":
    main()
