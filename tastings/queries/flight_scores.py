"""What each cup of a flight scored, as the notes stood when it was revealed.

Who has seen the names may still correct a note, and a phone may come late with what was noted before; only what was
noted before the reveal counts, whenever it arrived.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean
from typing import Literal
from uuid import UUID

from lots.merge import DELETED, unpack
from lots.models import FieldHistory
from lots.schema import format_stamp
from tastings.maths.flights.cups import Cup
from tastings.maths.flights.factors import weighted_score
from tastings.maths.flights.result import LeftOut
from tastings.models import Flight, Note, Session

Measure = Literal["liking", "weighted"]
SCALES: Mapping[Measure, float] = {"liking": 10.0, "weighted": 100.0}
"""The highest score of each measure. [points]"""
LIKING = "liking"
_TASTED = ("mouth", "finish", "body")
"""Moments whose liking is of the cup as it was drunk."""
_FACTOR: Mapping[str, str] = {
    "dry_leaf": "dry_leaf",
    "liquor": "liquor_colour",
    "lid": "aroma",
    "warmed_leaf": "aroma",
    "wet_leaf": "aroma",
    "empty_cup": "aroma",
    "mouth": "taste",
    "finish": "taste",
    "spent_leaf": "spent_leaf",
}
"""Which factor of an evaluation the liking of a moment speaks of."""


@dataclass(frozen=True, slots=True)
class Scores:
    """Cups by measure: ``liking`` in points of 10, ``weighted`` in points of 100; and sessions that do not count."""

    cups: Mapping[Measure, Sequence[Cup]]
    left_out: Sequence[LeftOut]


@dataclass(frozen=True, slots=True)
class _Rating:
    """A liking that was noted before the reveal. [points]."""

    infusion: UUID | None
    moment: str
    points: float


def scores_of(flight: Flight) -> Scores:
    """Read what the cups of a revealed flight scored; nothing for one that is not revealed."""
    if flight.revealed_at is None:
        return Scores({}, ())
    until = format_stamp(flight.revealed_at)
    counted, left_out = list[Session](), list[LeftOut]()
    sessions = (
        Session.objects.filter(flight_cup__flight=flight).select_related("flight_cup").order_by("started_at", "id")
    )
    for session in sessions:
        stamps = unpack(session.stamps)
        if session.removed and (DELETED not in stamps or stamps[DELETED].at <= until):
            continue
        if session.private:
            left_out.append(LeftOut(str(session.id), "private"))
        elif stamps["flight_cup"].at > until:
            left_out.append(LeftOut(str(session.id), "after_the_reveal"))
        else:
            counted.append(session)
    ratings = _ratings(counted, until=until)
    cups: dict[Measure, list[Cup]] = {"liking": [], "weighted": []}
    for session, position in _in_order(counted):
        own = ratings[session.id]
        points: dict[Measure, float | None] = {
            "liking": _liking(own),
            "weighted": _weighted(own, flight.weights) if flight.weights else None,
        }
        if points["liking"] is None and points["weighted"] is None:
            left_out.append(LeftOut(str(session.id), "no_liking"))
        elif flight.weights and points["weighted"] is None:
            left_out.append(LeftOut(str(session.id), "factors_missing"))
        for measure, score in points.items():
            if score is not None and session.flight_cup is not None:
                place = f"{session.taster_id} {session.flight_cup.sitting}"
                cup = Cup(
                    lot=str(session.flight_cup.lot_id),
                    taster=str(session.taster_id),
                    sitting=place,
                    position=position,
                    score=score,
                )
                cups[measure].append(cup)
    return Scores({measure: found for measure, found in cups.items() if found}, left_out)


def _in_order(sessions: Iterable[Session]) -> list[tuple[Session, int]]:
    """Return each session with its place in its sitting as it was really tasted: by when it was begun."""
    sittings: dict[tuple[UUID, int], int] = defaultdict(int)
    found = []
    for session in sessions:
        if session.flight_cup is not None:
            place = session.taster_id, session.flight_cup.sitting
            sittings[place] += 1
            found.append((session, sittings[place]))
    return found


def _ratings(sessions: Sequence[Session], *, until: str) -> dict[UUID, list[_Rating]]:
    notes = list(Note.objects.filter(session__in=sessions, descriptor__key=LIKING).order_by("id"))
    earlier: dict[UUID, tuple[str, object]] = {}
    rows = FieldHistory.objects.filter(record__in=[note.id for note in notes], field="intensity")
    for row in rows.order_by("at", "id"):
        at = format_stamp(row.at)
        if at <= until:
            earlier[row.record] = at, row.value
    ratings: dict[UUID, list[_Rating]] = defaultdict(list)
    for note in notes:
        stamps = unpack(note.stamps)
        if note.removed and (DELETED not in stamps or stamps[DELETED].at <= until):
            continue
        if any(name in stamps and stamps[name].at > until for name in ("descriptor", "moment", "infusion")):
            continue
        stands_now = "intensity" not in stamps or stamps["intensity"].at <= until
        points = note.intensity if stands_now else earlier.get(note.id, ("", None))[1]
        if points is not None:
            ratings[note.session_id].append(_Rating(note.infusion_id, note.moment, float(str(points))))
    return ratings


def _mean(ratings: Sequence[_Rating]) -> float | None:
    """Return the mean over infusions; a liking of the cup as a whole stands before that."""
    whole = [one.points for one in ratings if one.infusion is None]
    if whole:
        return fmean(whole)
    by_infusion: dict[UUID | None, list[float]] = defaultdict(list)
    for one in ratings:
        by_infusion[one.infusion].append(one.points)
    return fmean(fmean(points) for points in by_infusion.values()) if by_infusion else None


def _liking(ratings: Sequence[_Rating]) -> float | None:
    return _mean([one for one in ratings if one.moment in _TASTED])


def _weighted(ratings: Sequence[_Rating], weights: Mapping[str, float]) -> float | None:
    """Return the score out of 100; None while a factor that carries weight has no liking."""
    scores: dict[str, float] = {}
    for factor in set(_FACTOR.values()):
        found = _mean([one for one in ratings if _FACTOR.get(one.moment) == factor])
        if found is not None:
            scores[factor] = 10 * found
    if any(weight > 0 and factor not in scores for factor, weight in weights.items()):
        return None
    return weighted_score(scores, weights)
