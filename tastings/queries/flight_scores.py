"""What each cup of a flight scored.

The reveal freezes the scores as the server has them at its commit, in `Flight.counted`. What arrives later, whatever
moment its device claims, changes them only when a buyer or owner admits it; see `tastings.queries.late_scores`.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean
from typing import Literal
from uuid import UUID

from django.db.models import QuerySet

from lots.schema import format_stamp
from tastings.figures import from_stored
from tastings.maths.flights.cups import Cup
from tastings.maths.flights.factors import weighted_score
from tastings.maths.flights.result import UncountedSession
from tastings.models import Flight, Note, Session

Measure = Literal["liking", "weighted"]
SCALES: Mapping[Measure, float] = {"liking": 10.0, "weighted": 100.0}
"""The highest score of each measure. [points]"""
LIKING = "liking"
_TASTED = ("mouth", "finish", "body")
"""Moments at which liking is that of the cup as drunk."""
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
"""The factor of an evaluation that the liking at each moment stands for."""


@dataclass(frozen=True, slots=True)
class Scores:
    """Cups by measure: ``liking`` in points of 10, ``weighted`` in points of 100; and sessions that do not count."""

    cups: Mapping[Measure, Sequence[Cup]]
    left_out: Sequence[UncountedSession]


@dataclass(frozen=True, slots=True, order=True)
class Rating:
    """One liking. [points]; ``infusion`` is empty for the cup as a whole."""

    note: str
    infusion: str
    moment: str
    points: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CountedSession:
    """A session as it counts in the flight's answer: as it stood at the reveal, or as it was admitted later.

    ``began`` orders the cups of a sitting; ``private`` sessions count with nothing. ``cup`` is empty in flights that
    were revealed before it was stored.
    """

    session: str
    taster: str
    lot: str
    sitting: int
    began: str
    private: bool
    ratings: tuple[Rating, ...]
    cup: str | None = None
    admitted_by: str | None = None
    admitted_at: str | None = None


@dataclass(frozen=True, slots=True)
class CountedScores:
    """All that counts in a flight, and the team's revision at the reveal."""

    revision: int
    sessions: tuple[CountedSession, ...]


def present_scores(flight: Flight, *, revision: int) -> CountedScores:
    """Return the scores as the server has them now, for the reveal to freeze."""
    sessions = list(Session.objects.filter(flight_cup__flight=flight, removed=False).select_related("flight_cup"))
    ratings: dict[UUID, list[Rating]] = defaultdict(list)
    for note in liking_notes(sessions).filter(removed=False, intensity__isnull=False):
        ratings[note.session_id].append(rating_of(note))
    return CountedScores(
        revision, tuple(counted_session(row, () if row.private else ratings[row.id]) for row in sessions)
    )


def liking_notes(sessions: Sequence[Session]) -> QuerySet[Note]:
    """Return the notes of these sessions that a score is made of, removed ones included."""
    return Note.objects.filter(session__in=sessions, descriptor__key=LIKING).select_related("descriptor").order_by("id")


def rating_of(note: Note) -> Rating:
    """Return the liking that a note holds."""
    return Rating(str(note.id), str(note.infusion_id or ""), note.moment, float(note.intensity or 0))


def counted_session(session: Session, ratings: Sequence[Rating]) -> CountedSession:
    """Return a session of a cup as it counts with these ratings."""
    cup = session.flight_cup
    if cup is None:
        raise ValueError("is no session of a cup")
    return CountedSession(
        session=str(session.id),
        taster=str(session.taster_id),
        lot=str(cup.lot_id),
        sitting=cup.sitting,
        began=format_stamp(session.started_at),
        private=session.private,
        ratings=tuple(sorted(ratings)),
        cup=str(cup.id),
    )


def counted_scores(flight: Flight) -> CountedScores:
    """Return what counts in a flight; nothing before the reveal has frozen the scores."""
    return CountedScores(0, ()) if flight.counted is None else from_stored(CountedScores, flight.counted)


def scores_of(flight: Flight) -> Scores:
    """Return what the cups of a revealed flight scored, as it counts: each cup once, however often it was sent."""
    left_out: list[UncountedSession] = []
    cups: dict[Measure, list[Cup]] = {"liking": [], "weighted": []}
    places: dict[str, int] = defaultdict(int)
    sessions = sorted(counted_scores(flight).sessions, key=lambda session: (session.began, session.session))
    chosen = _session_by_cup(sessions, flight.weights)
    for session in sessions:
        if session.private:
            left_out.append(UncountedSession(session.session, "private"))
            continue
        points = points_of(session.ratings, flight.weights)
        is_scored = any(score is not None for score in points.values())
        if is_scored and session.cup and chosen[session.cup] != session.session:
            left_out.append(UncountedSession(session.session, "same_cup"))
            continue
        sitting = f"{session.taster} {session.sitting}"
        places[sitting] += 1  # as it was really tasted: by when it was begun
        if not is_scored:
            left_out.append(UncountedSession(session.session, "no_liking"))
        elif flight.weights and points["weighted"] is None:
            left_out.append(UncountedSession(session.session, "factors_missing"))
        for measure, score in points.items():
            if score is not None:
                cups[measure].append(
                    Cup(lot=session.lot, taster=session.taster, sitting=sitting, position=places[sitting], score=score)
                )
    return Scores({measure: scored for measure, scored in cups.items() if scored}, left_out)


def points_by_cup(flight: Flight) -> dict[UUID, float]:
    """Return the score that counts for each cup of a revealed flight: weighted out of 100, else liking out of 10."""
    sessions = sorted(counted_scores(flight).sessions, key=lambda session: (session.began, session.session))
    ratings = {session.session: session.ratings for session in sessions}
    measure: Measure = "weighted" if flight.weights else "liking"
    points = {
        UUID(cup): points_of(ratings[session], flight.weights)[measure]
        for cup, session in _session_by_cup(sessions, flight.weights).items()
    }
    return {cup: score for cup, score in points.items() if score is not None}


def _session_by_cup(sessions: Sequence[CountedSession], weights: Mapping[str, float]) -> dict[str, str]:
    """Return the session that counts for each cup: the one admitted last, else the first of those with most scores."""
    chosen: dict[str, tuple[tuple[str, int], str]] = {}
    for session in sessions:
        measures = sum(score is not None for score in points_of(session.ratings, weights).values())
        if session.cup is None or session.private or not measures:
            continue
        rank = (session.admitted_at or "", measures)
        if session.cup not in chosen or rank > chosen[session.cup][0]:
            chosen[session.cup] = (rank, session.session)
    return {cup: session for cup, (_, session) in chosen.items()}


def points_of(ratings: Sequence[Rating], weights: Mapping[str, float]) -> dict[Measure, float | None]:
    """Return the score of a cup by measure; None where its ratings make none."""
    return {"liking": _liking(ratings), "weighted": _weighted(ratings, weights) if weights else None}


def _mean(ratings: Sequence[Rating]) -> float | None:
    """Return the mean over infusions; a liking of the cup as a whole stands before that."""
    whole = [rating.points for rating in ratings if not rating.infusion]
    if whole:
        return fmean(whole)
    by_infusion: dict[str, list[float]] = defaultdict(list)
    for rating in ratings:
        by_infusion[rating.infusion].append(rating.points)
    return fmean(fmean(points) for points in by_infusion.values()) if by_infusion else None


def _liking(ratings: Sequence[Rating]) -> float | None:
    return _mean([rating for rating in ratings if rating.moment in _TASTED])


def _weighted(ratings: Sequence[Rating], weights: Mapping[str, float]) -> float | None:
    """Return the score out of 100; None while a factor that carries weight has no liking."""
    scores: dict[str, float] = {}
    for factor in set(_FACTOR.values()):
        mean = _mean([rating for rating in ratings if _FACTOR.get(rating.moment) == factor])
        if mean is not None:
            scores[factor] = 10 * mean
    if any(weight > 0 and factor not in scores for factor, weight in weights.items()):
        return None
    return weighted_score(scores, weights)
