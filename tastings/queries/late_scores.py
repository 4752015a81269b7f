"""Scores of a flight's cups that arrived after its reveal, or were changed after it."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from lots.merge import DELETED, unpack
from tastings.answers.flight_answers import LateScore
from tastings.models import Flight, Note, Session
from tastings.queries.flight_scores import (
    CountedSession,
    Rating,
    counted_scores,
    counted_session,
    liking_notes,
    points_of,
    rating_of,
)


@dataclass(frozen=True, slots=True)
class LateSession:
    """A late score as it is shown, and the session as it will count once it is admitted."""

    shown: LateScore
    session: CountedSession


def late_sessions(flight: Flight) -> list[LateSession]:
    """Return the sessions whose ratings, as the server has them now, are not those that count.

    Only what the session's taster wrote can be admitted; what others changed is shown. Private sessions are left out.
    """
    counted = {session.session: session for session in counted_scores(flight).sessions}
    sessions = list(
        Session.objects.filter(flight_cup__flight=flight, removed=False, private=False)
        .select_related("flight_cup")
        .order_by("started_at", "id")
    )
    notes: dict[UUID, list[Note]] = defaultdict(list)
    for note in liking_notes(sessions):
        notes[note.session_id].append(note)
    late = []
    for session in sessions:
        before = counted.get(str(session.id))
        counts = before.ratings if before is not None else ()
        by_taster = _ratings_by_taster(session, notes[session.id], counted={rating.note: rating for rating in counts})
        present = tuple(sorted(rating_of(note) for note in notes[session.id] if _is_rated(note)))
        ratings = by_taster if by_taster != counts else present
        if ratings != counts:
            was, now = (points_of(group, flight.weights) for group in (counts, ratings))
            shown = LateScore(
                session=session.id,
                taster=session.taster_id,
                lot=session.flight_cup.lot_id,  # type: ignore[union-attr]  # with this query
                revision=max(row.revision for row in (session, *notes[session.id])),
                arrived_at=max(row.updated_at for row in (session, *notes[session.id])),
                liking=now["liking"],
                weighted=now["weighted"],
                counted_liking=was["liking"],
                counted_weighted=was["weighted"],
                admissible=by_taster != counts,
            )
            late.append(LateSession(shown, counted_session(session, ratings)))
    return late


def _ratings_by_taster(session: Session, notes: Sequence[Note], *, counted: Mapping[str, Rating]) -> tuple[Rating, ...]:
    """Return each session's ratings as its taster wrote them; if someone else wrote since, those that count."""
    ratings = []
    for note in notes:
        stamps = unpack(note.stamps)
        decisive = [DELETED] if note.removed else ["descriptor", "moment", "infusion", "intensity"]
        if {stamps[name].by for name in decisive if name in stamps} <= {str(session.taster_id)}:
            ratings += [rating_of(note)] if _is_rated(note) else []
        elif (before := counted.get(str(note.id))) is not None:
            ratings.append(before)
    return tuple(sorted(ratings))


def _is_rated(note: Note) -> bool:
    return not note.removed and note.intensity is not None
