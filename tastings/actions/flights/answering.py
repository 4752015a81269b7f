"""Computes and stores the answer of a revealed flight."""

import logging
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import fields
from datetime import datetime
from uuid import UUID

from django.db import transaction

from lots.models import Lot
from tastings.actions.flights.revealing import freeze_scores
from tastings.figures import to_stored
from tastings.maths.flights.analysis import analyse_flight
from tastings.maths.flights.cups import Cup
from tastings.maths.flights.result import FlightFigures, FlightResult, MeasureResult
from tastings.maths.flights.value import price_frontier
from tastings.models import Flight
from tastings.queries.flight_scores import SCALES, Measure, scores_of
from teams.models import Team
from teams.postgresql.locks import try_lock

_log = logging.getLogger(__name__)


@transaction.atomic
def answer_flight(flight: UUID, *, now: datetime) -> bool:
    """Compute and store the answer that was asked for; return whether this call did so. Safe to run twice."""
    if not try_lock(f"flight {flight}"):
        return False
    row = Flight.objects.filter(id=flight, revealed_at__isnull=False).first()
    if row is None or row.answer_made == row.answer_wanted:
        return False
    if row.counted is None:  # revealed before scores were frozen
        freeze_scores(row, revision=Team.objects.values_list("revision", flat=True).get(id=row.team_id))
        row.refresh_from_db()
    changes: dict[str, object] = {"answer_made": row.answer_wanted, "answered_at": now}
    try:
        changes |= {"answer": to_stored(_figures(row)), "answer_failure": ""}
    except (ValueError, ArithmeticError) as error:
        # Stored for people to read; it is tried again when something about the flight changes.
        _log.exception("flight %s: no answer", flight)
        changes["answer_failure"] = f"{type(error).__name__}: {error}"[:500]
    Flight.objects.filter(id=flight).update(**changes)
    return True


def _figures(flight: Flight) -> FlightFigures:
    scores = scores_of(flight)
    tasted = {cup.lot for cups in scores.cups.values() for cup in cups}
    candidates = {str(tea.lot_id) for tea in flight.candidates.all() if tea.out_at is None or str(tea.lot_id) in tasted}
    reference = [str(flight.reference_id)] if flight.reference_id else []
    lots = {str(lot.id): lot for lot in Lot.objects.filter(id__in=[*candidates, *reference])}
    return FlightFigures(
        measures=tuple(
            _measure(flight, measure, cups, lots=lots, controls=reference) for measure, cups in scores.cups.items()
        ),
        left_out=tuple(scores.left_out),
    )


def _measure(
    flight: Flight, measure: Measure, cups: Sequence[Cup], *, lots: Mapping[str, Lot], controls: Sequence[str]
) -> MeasureResult:
    result = analyse_flight(
        cups,
        scale=SCALES[measure],
        seed=flight.seed,
        expected_order=[lot for lot in flight.expected_order if lot in lots],
        lots=sorted(lots),
        controls=controls,
    )
    currency, prices = _prices(lots)
    return MeasureResult(
        **{field.name: getattr(result, field.name) for field in fields(FlightResult)},
        measure=measure,
        scale=SCALES[measure],
        currency=currency,
        worth=price_frontier(result.standings, prices),
    )


def _prices(lots: Mapping[str, Lot]) -> tuple[str | None, dict[str, float | None]]:
    """Return the currency most prices are in, and the prices in it; others cannot be compared."""
    priced = [lot.currency for lot in lots.values() if lot.price_per_kg is not None and lot.currency]
    currency = Counter(priced).most_common(1)[0][0] if priced else None
    return currency, {
        name: float(lot.price_per_kg)
        if lot.price_per_kg is not None and currency is not None and lot.currency == currency
        else None
        for name, lot in lots.items()
    }
