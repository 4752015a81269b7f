"""Published panels put to our figures: the noise of two cups of one thing, and whether session 1 foretells session 2.

Run from the repository root: ``python -m benchmarks.real_panels [TVbo.csv [soup.csv]]``. The first panel lies in
``tests/published/french_fries.csv``. The others are under the GPL, so readers fetch them themselves: the data sets
``TVbo`` of the R package lmerTest and ``soup`` of ordinal, in Debian ``apt-get install r-cran-lmertest
r-cran-ordinal``, written by ``Rscript -e 'write.csv(lmerTest::TVbo, "TVbo.csv"); write.csv(ordinal::soup,
"soup.csv")'``. ``docs/measured.md`` has a run; about two minutes. No table says in which order cups were
served: that of its rows is taken.
"""

import csv
import sys
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from benchmarks.calibration import bin_by_probability
from tastings.maths.flights.cups import Cup, repeatability, served_cups
from tastings.maths.flights.model import draw

Row = Mapping[str, str]
FRENCH_FRIES = Path("tests/published/french_fries.csv")


@dataclass(frozen=True, slots=True)
class RealPanel:
    """How a published table of scores from 0 to ``scale`` is read."""

    name: str
    flight: str  # column of what was tasted apart
    lot: str  # of what was compared
    taster: str  # by whom
    session: str  # and when, first or second
    scale: int = 15
    scores: tuple[str, ...] = ()  # columns of scores; all others where there is none

    def attributes(self, rows: Sequence[Row]) -> list[str]:
        """Return the columns of scores."""
        if self.scores:
            return list(self.scores)
        return [key for key in rows[0] if key and key not in (self.flight, self.lot, self.taster, self.session)]

    def flights(self, rows: Sequence[Row], *, attribute: str) -> Iterator[list[list[Cup]]]:
        """Give the cups of each flight, those of its first and second session."""
        for flight in sorted({row[self.flight] for row in rows}):
            sessions: dict[str, list[Cup]] = defaultdict(list)
            for row in rows:
                if row[self.flight] == flight and row[attribute] not in ("", "NA"):
                    session = row[self.session]
                    cups, taster = sessions[session], row[self.taster]
                    place = sum(cup.taster == taster for cup in cups) + 1
                    cups.append(Cup(row[self.lot], taster, f"{taster} {session}", place, float(row[attribute])))
            yield [sessions[session] for session in sorted(sessions)]


FRIES = RealPanel("french fries", flight="time", lot="treatment", taster="subject", session="rep")
TELEVISIONS = RealPanel("televisions", flight="Picture", lot="TVset", taster="Assessor", session="Repeat")
SOUPS = RealPanel("soups", flight="panel", lot="PROD", taster="RESP", session="DAY", scale=6, scores=("SURENESS",))
"""How sure 185 people were, from 1 to 6, that a soup was not the usual one."""
SOUP_PANEL = 6
"""People of one panel, in the order of the table."""


def read_rows(path: Path) -> list[Row]:
    """Return the rows of a table, lines that begin with # left out."""
    lines = path.read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def mean_scores(cups: Sequence[Cup]) -> dict[str, float]:
    """Return the plain mean of each lot. [points]."""
    scores: dict[str, list[float]] = defaultdict(list)
    for cup in cups:
        scores[cup.lot].append(cup.score)
    return {lot: sum(cups) / len(cups) for lot, cups in scores.items()}


def read_soups(path: Path) -> list[Row]:
    """Return the rows of the soups with the panel that each is of."""
    return [{**row, "panel": str((int(row["RESP"]) - 1) // SOUP_PANEL)} for row in read_rows(path)]


def foretold(panel: RealPanel, rows: Sequence[Row]) -> tuple[list[tuple[float, bool]], list[tuple[float, bool]]]:
    """Return what one session says of each lot, and whether the lot had most in the other session.

    First the probability that the lot has most in truth, then that it has most in the other session, whose noise is in
    that.
    """
    most_in_truth, most_in_other = [], []
    for attribute in panel.attributes(rows):
        for sessions in panel.flights(rows, attribute=attribute):
            for known, other in (sessions, sessions[::-1]):
                means = mean_scores(other)
                most = max(means, key=lambda lot: means[lot])
                rng = np.random.default_rng(1)
                served = served_cups(known, scale=panel.scale)
                draws = draw(served, scale=panel.scale, rng=rng)
                worth = draws.worth()
                cups = np.array([max(sum(cup.lot == lot for cup in other), 1) for lot in served.lots])
                noise = np.hypot(draws.noise_sd, draws.taste_sd)[:, None] / np.sqrt(cups)
                again = worth + noise * rng.standard_normal(worth.shape)
                for place, lot in enumerate(served.lots):
                    most_in_truth.append((float((worth.argmax(axis=1) == place).mean()), lot == most))
                    most_in_other.append((float((again.argmax(axis=1) == place).mean()), lot == most))
    return most_in_truth, most_in_other


def retest_table(panel: RealPanel, rows: Sequence[Row]) -> str:
    """Return the noise of two cups of one lot by one taster as markdown, on a scale of ten."""
    lines = ["| attribute | sd of a score | least of a taster | most |", "| --- | ---: | ---: | ---: |"]
    for attribute in panel.attributes(rows):
        cups = [
            Cup(f"{number} {cup.lot}", cup.taster, f"{number} {cup.sitting}", cup.position, cup.score)
            for number, sessions in enumerate(panel.flights(rows, attribute=attribute))
            for session in sessions
            for cup in session
        ]
        pooled, by_taster = repeatability(cups)
        if pooled is not None:
            figures = [10 / panel.scale * sd for sd in (pooled, min(by_taster.values()), max(by_taster.values()))]
            lines.append(f"| {attribute} | " + " | ".join(f"{sd:.2f}" for sd in figures) + " |")
    return "\n".join(lines)


def main() -> None:
    tables = [
        (FRIES, read_rows(FRENCH_FRIES)),
        *((TELEVISIONS, read_rows(Path(path))) for path in sys.argv[1:2]),
        *((SOUPS, read_soups(Path(path))) for path in sys.argv[2:3]),
    ]
    for panel, rows in tables:
        print(f"### Retests of the {panel.name}\n\n{retest_table(panel, rows)}\n")
    foretold_by = {f"{panel.name}: ": foretold(panel, rows) for panel, rows in tables}
    print("### Has most in truth, by one session, and had most in the other\n")
    print(bin_by_probability({name: in_truth for name, (in_truth, _) in foretold_by.items()}))
    print("\n### Has most in the other session, by one session, and had\n")
    print(bin_by_probability({name: in_other for name, (_, in_other) in foretold_by.items()}))


if __name__ == "__main__":
    main()
