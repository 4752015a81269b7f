"""Published panels put to our figures: the noise of two cups of one thing, and whether session 1 foretells session 2.

Run from the repository root: ``python -m benchmarks.real_panels [TVbo.csv]``. The first panel lies in
``tests/published/french_fries.csv``. The second is under the GPL, so readers fetch it themselves: the data set ``TVbo``
of the R package lmerTest, in Debian ``apt-get install r-cran-lmertest``, written by ``Rscript -e
'write.csv(lmerTest::TVbo, "TVbo.csv")'``. ``docs/measured.md`` has a run; about one minute. Neither table says in
which order cups were served: that of its rows is taken.
"""

import csv
import sys
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from benchmarks.calibration import bin_by_probability
from tastings.maths.flights.analysis import analyse_flight
from tastings.maths.flights.cups import Cup, repeatability

Row = Mapping[str, str]
SCALE = 15
FRENCH_FRIES = Path("tests/published/french_fries.csv")


@dataclass(frozen=True, slots=True)
class RealPanel:
    """How a published table of scores from 0 to 15 is read.

    Parameters
    ----------
    name : str
        For the tables.
    flight, lot, taster, session : str
        Columns: what was tasted apart, what was compared, by whom, and when, first or second.
    """

    name: str
    flight: str
    lot: str
    taster: str
    session: str

    def attributes(self, rows: Sequence[Row]) -> list[str]:
        """Return the columns of scores."""
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


def read_rows(path: Path) -> list[Row]:
    """Return the rows of a table, lines that begin with # left out."""
    lines = path.read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def mean_scores(cups: Sequence[Cup]) -> dict[str, float]:
    """Return the plain mean of each lot. [points]."""
    scores: dict[str, list[float]] = defaultdict(list)
    for cup in cups:
        scores[cup.lot].append(cup.score)
    return {lot: sum(found) / len(found) for lot, found in scores.items()}


def foretold(panel: RealPanel, rows: Sequence[Row]) -> list[tuple[float, bool]]:
    """Return, for each lot, the probability by one session that it has most, and whether it had in the other one."""
    found = []
    for attribute in panel.attributes(rows):
        for sessions in panel.flights(rows, attribute=attribute):
            for known, other in (sessions, sessions[::-1]):
                means = mean_scores(other)
                most = max(means, key=lambda lot: means[lot])
                stands = analyse_flight(known, scale=SCALE, seed=1).standings
                found += [(one.p_best, one.lot == most) for one in stands]
    return found


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
            figures = [10 / SCALE * sd for sd in (pooled, min(by_taster.values()), max(by_taster.values()))]
            lines.append(f"| {attribute} | " + " | ".join(f"{sd:.2f}" for sd in figures) + " |")
    return "\n".join(lines)


def main() -> None:
    panels = [(FRIES, FRENCH_FRIES), *((TELEVISIONS, Path(path)) for path in sys.argv[1:2])]
    tables = [(panel, read_rows(path)) for panel, path in panels]
    for panel, rows in tables:
        print(f"### Retests of the {panel.name}\n\n{retest_table(panel, rows)}\n")
    print("### Has most, by one session, and had in the other\n")
    print(bin_by_probability({f"{panel.name}: ": foretold(panel, rows) for panel, rows in tables}))


if __name__ == "__main__":
    main()
