"""After the reveal: which code was which sample, and what each taster's cup of it scored."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from tastings.answers.flight_answers import FlightAnswer
from tastings.answers.flights import FlightItem
from tastings.wording.numbers import one_decimal

Names = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class CodedCup:
    """A cup by its code; ``score`` is empty for one that does not count."""

    code: int
    score: str


@dataclass(frozen=True, slots=True)
class CupsOfTaster:
    """The cups of one lot that one taster had, in the order of tasting."""

    taster: str
    cups: Sequence[CodedCup]


@dataclass(frozen=True, slots=True)
class CupsOfLot:
    """The cups of one lot, taster by taster."""

    lot: str
    tasters: Sequence[CupsOfTaster]


def cups_by_lot(
    flight: FlightItem, *, answer: FlightAnswer | None, points: Mapping[UUID, float], lots: Names, people: Names
) -> list[CupsOfLot]:
    """Return the cups of a revealed flight by lot, the best lot first; ``points`` are those that count, by cup."""
    cups: dict[UUID, dict[UUID, list[CodedCup]]] = defaultdict(lambda: defaultdict(list))
    for cup in flight.cups:
        if cup.lot is not None:
            score = one_decimal(points[cup.id]) if cup.id in points else ""
            cups[cup.lot][cup.taster].append(CodedCup(cup.code, score))
    tasters = sorted({cup.taster for cup in flight.cups}, key=lambda taster: (people.get(str(taster), ""), taster))
    measures = answer.measures if answer is not None else ()
    places = {standing.lot: place for place, standing in enumerate(measures[0].standings)} if measures else {}
    ranked = sorted(cups, key=lambda lot: (places.get(lot, len(places)), lots.get(str(lot), ""), lot))
    return [
        CupsOfLot(
            lots.get(str(lot), str(lot)),
            [CupsOfTaster(people.get(str(taster), ""), cups[lot][taster]) for taster in tasters],
        )
        for lot in ranked
    ]
