"""Working out what a revealed flight says, and storing it."""

import logging
from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import datetime
from uuid import UUID

from django.db import connection, transaction

from lots.models import Lot
from tastings.maths.flights.cups import Cup
from tastings.maths.flights.judge import Judgement, judge, sentence, worth
from tastings.models import Flight
from tastings.queries.flight_scores import scores_of
from teams.models import User

_log = logging.getLogger(__name__)
SCALES = {"liking": 10.0, "weighted": 100.0}
"""The highest score of each measure. [points]"""


@transaction.atomic
def judge_flight(flight: UUID, *, now: datetime) -> bool:
    """Work out and store the answer that is wanted; return whether this call did so. Safe to run twice."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(hashtextextended(%s, 0))", [f"flight {flight}"])
        if not cursor.fetchone()[0]:
            return False
    found = Flight.objects.filter(id=flight, revealed_at__isnull=False).first()
    if found is None or found.answer_made == found.answer_wanted:
        return False
    changes: dict[str, object] = {"answer_made": found.answer_wanted, "answered_at": now}
    try:
        changes |= {"answer": _answer(found), "answer_failure": ""}
    except (ValueError, ArithmeticError) as error:
        # Kept for people to read; it is tried again when something about the flight changes.
        _log.exception("flight %s: no answer", flight)
        changes["answer_failure"] = f"{type(error).__name__}: {error}"[:500]
    Flight.objects.filter(id=flight).update(**changes)
    return True


def _answer(flight: Flight) -> dict[str, object]:
    scores = scores_of(flight)
    tasted = {cup.lot for cups in scores.cups.values() for cup in cups}
    named = {str(one.lot_id) for one in flight.candidates.all() if one.out_at is None or str(one.lot_id) in tasted}
    reference = [str(flight.reference_id)] if flight.reference_id else []
    lots = {str(lot.id): lot for lot in Lot.objects.filter(id__in=[*named, *reference])}
    return {
        "measures": [
            _measure(flight, measure, cups, lots=lots, controls=reference) for measure, cups in scores.cups.items()
        ],
        "left_out": list(scores.left_out),
    }


def _measure(
    flight: Flight, measure: str, cups: Sequence[Cup], *, lots: Mapping[str, Lot], controls: Sequence[str]
) -> dict[str, object]:
    judgement = judge(
        cups,
        scale=SCALES[measure],
        seed=flight.seed,
        expected_order=[lot for lot in flight.expected_order if lot in lots],
        lots=sorted(lots),
        controls=controls,
    )
    tasters = User.objects.filter(id__in={cup.taster for cup in cups})
    names = {lot: row.name for lot, row in lots.items()} | {str(user.id): str(user) for user in tasters}
    currency, prices = _prices(lots)
    return {
        "measure": measure,
        "scale": SCALES[measure],
        **judgement.as_json(),
        "sentence": _said(judgement, names),
        "currency": currency,
        "worth": [one.as_json() for one in worth(judgement.standings, prices)],
    }


def _said(judgement: Judgement, names: Mapping[str, str]) -> str:
    return sentence(judgement.standings, settled=judgement.settled, further=judgement.next, names=names)


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
