"""From a flight to the contexts of its pages: how far it is, the sheets for pourers and tasters."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

from django.utils.translation import gettext as _
from msgspec import UNSET

from tastings.answers.flight_answers import FlightAnswer, LateScore
from tastings.answers.flights import FlightCup, FlightDecision, FlightItem, Pour, PouringPlan
from tastings.reports.flight_answers import Names, answer_section
from tastings.reports.flight_steps import NextStep
from tastings.wording import flights as words
from tastings.wording.counts import counted
from tastings.wording.numbers import day, one_decimal


@dataclass(frozen=True, slots=True)
class FlightRow:
    """A flight in the list."""

    name: str
    href: str
    day: str
    state: str
    candidates: str
    progress: str
    next: str
    is_mine: bool


@dataclass(frozen=True, slots=True)
class ProgressRow:
    """Cups of one shop or taster."""

    name: str
    planned: int
    tasted: int


@dataclass(frozen=True, slots=True)
class MissingRow:
    """Cups of a taster that are not tasted yet."""

    name: str
    cups: str


@dataclass(frozen=True, slots=True)
class ChosenRow:
    """A lot that was chosen."""

    bought: UUID
    name: str
    amount: str


@dataclass(frozen=True, slots=True)
class LateRow:
    """A score that arrived after the reveal."""

    session: UUID
    lot: str
    taster: str
    score: str
    counted: str
    arrived: str
    revision: int
    is_admissible: bool


@dataclass(frozen=True, slots=True)
class PouringSheet:
    """What is poured for one sitting of one taster."""

    taster: str
    number: int
    pours: Sequence[Pour]


@dataclass(frozen=True, slots=True)
class CupSheet:
    """A taster's own cups of one sitting."""

    number: int
    cups: Sequence[FlightCup]


def flights_context(flights: Sequence[tuple[FlightItem, NextStep]]) -> dict[str, object]:
    """Build what the list of flights shows: those that wait for the reader first, then the newest."""
    rows = [
        FlightRow(
            name=flight.name,
            href=f"/flights/{flight.id}/",
            day=day(flight.created_at),
            state=words.state_sentence(flight.state),
            candidates=counted(len(flight.lots), "sample"),
            progress=words.progress(tasted=flight.progress.tasted, planned=flight.progress.planned),
            next=" ".join(step.sentences),
            is_mine=step.is_mine,
        )
        for flight, step in sorted(flights, key=lambda pair: (pair[1].is_mine, pair[0].created_at), reverse=True)
    ]
    return {"rows": rows}


def flight_context(
    flight: FlightItem, *, answer: FlightAnswer | None, lots: Names, people: Names, shops: Names
) -> dict[str, object]:
    """Build what a flight's page shows, with its answer after the reveal; lots, people and shops are names by id."""
    quality, progress = flight.plan.quality, flight.progress
    bought = {lot.lot for lot in flight.decision.chosen} if flight.decision is not None else set()
    return {
        "flight": flight,
        "state": words.state_sentence(flight.state),
        "protocol": words.protocol_sentence(flight.protocol, infusions=flight.infusions),
        "candidates": sorted(lots.get(str(lot), str(lot)) for lot in flight.lots),
        "reference": lots.get(str(flight.reference), ""),
        "plan_sentences": ""
        if quality is None
        else words.plan_sentences(
            efficiency=quality.efficiency,
            bound=quality.bound,
            connected=quality.connected,
            position_spread=quality.position_spread,
        ),
        "progress": words.progress(tasted=progress.tasted, planned=progress.planned),
        "shops": [
            ProgressRow(shops.get(str(shop.shop), _("No shop")), shop.planned, shop.tasted) for shop in progress.shops
        ],
        "tasters": [ProgressRow(people.get(str(row.taster), ""), row.planned, row.tasted) for row in progress.tasters],
        "is_revealed": flight.revealed_at is not None,
        "others": sorted(
            ((lot, lots.get(str(lot), "")) for lot in flight.lots if lot not in bought), key=lambda pair: pair[1]
        ),
        "chosen": chosen_rows(flight.decision, lots=lots),
        "answer": answer_section(answer, lots=lots, people=people),
        "late": [_late_row(score, lots=lots, people=people) for score in (answer.late if answer is not None else ())],
    }


def missing_cups(flight: FlightItem, *, people: Names) -> list[MissingRow]:
    """Return who has cups that are not tasted yet, and how many."""
    return [
        MissingRow(people.get(str(taster.taster), ""), counted(taster.planned - taster.tasted, "cup"))
        for taster in flight.progress.tasters
        if taster.planned > taster.tasted
    ]


def _late_row(late: LateScore, *, lots: Names, people: Names) -> LateRow:
    weighted = late.weighted is not None or late.counted_weighted is not None
    score, counts = (late.weighted, late.counted_weighted) if weighted else (late.liking, late.counted_liking)
    return LateRow(
        session=late.session,
        lot=lots.get(str(late.lot), str(late.lot)),
        taster=people.get(str(late.taster), ""),
        score="" if score is None else one_decimal(score),
        counted="" if counts is None else one_decimal(counts),
        arrived=day(late.arrived_at),
        revision=late.revision,
        is_admissible=late.admissible,
    )


def chosen_rows(decision: FlightDecision | None, *, lots: Names) -> list[ChosenRow]:
    """Return what was chosen, with names and amounts."""
    return [
        ChosenRow(
            bought=lot.bought,
            name=lots.get(str(lot.lot), str(lot.lot)),
            amount="" if lot.quantity_g is None or lot.quantity_g is UNSET else words.leaf_amount(lot.quantity_g),
        )
        for lot in (decision.chosen if decision is not None else ())
    ]


def pouring_context(flight: FlightItem, plan: PouringPlan) -> dict[str, object]:
    """Build the pourers' sheets: a table for each sitting of each taster."""
    sittings: dict[tuple[str, int], list[Pour]] = defaultdict(list)
    for pour in plan.pours:
        sittings[pour.taster, pour.sitting].append(pour)
    return {
        "flight": flight,
        "protocol": words.protocol_sentence(flight.protocol, infusions=flight.infusions),
        "sittings": [PouringSheet(taster, number, pours) for (taster, number), pours in sorted(sittings.items())],
        "cautions": [words.kettle_caution(), *words.tasting_cautions()],
    }


def cups_context(flight: FlightItem, *, me: UUID) -> dict[str, object]:
    """Build the taster's own sheet: codes alone, with room to write."""
    sittings: dict[int, list[FlightCup]] = defaultdict(list)
    for cup in flight.cups:
        if cup.taster == me:
            sittings[cup.sitting].append(cup)
    return {
        "flight": flight,
        "protocol": words.protocol_sentence(flight.protocol, infusions=flight.infusions),
        "sittings": [CupSheet(number, cups) for number, cups in sorted(sittings.items())],
        "factors": words.factors(weighted=bool(flight.weights_for) or flight.weight_taste_pct is not None),
        "cautions": words.tasting_cautions(),
    }
