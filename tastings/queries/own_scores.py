"""The scores that a taster wrote on one page for the cups of a flight, by code.

Each cup has one such session, with one note for each score. Their ids follow from the cup's, so that the page sent
twice stores nothing twice. A cup that was noted elsewhere, as on a phone, is named only.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from uuid import UUID, uuid5

from tastings.answers.flights import FlightCup, FlightItem
from tastings.models import Note, Session
from teams.models import Member


@dataclass(frozen=True, slots=True)
class Score:
    """One thing that is scored of every cup: where it is noticed, and the descriptor; none for words."""

    name: str
    moment: str
    descriptor: str | None


STRENGTH = Score("strength", "mouth", "strength")
LIKING = Score("liking", "mouth", "liking")
WORDS = Score("words", "mouth", None)
FACTORS = (
    Score("dry_leaf", "dry_leaf", "liking"),
    Score("liquor", "liquor", "liking"),
    Score("aroma", "wet_leaf", "liking"),
    LIKING,
    Score("spent_leaf", "spent_leaf", "liking"),
)
"""In the order of `tastings.wording.flights.factors`: the liking in the mouth is that of the taste."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnCup:
    """A cup with what its taster wrote on the page; ``elsewhere`` is a session of it that was written otherwise."""

    cup: FlightCup
    is_stored: bool = False
    values: Mapping[str, float | str] = field(default_factory=dict)
    elsewhere: UUID | None = None


def is_weighed(flight: FlightItem) -> bool:
    """Whether a flight is judged by factors."""
    return bool(flight.weights_for) or flight.weight_taste_pct is not None


def scores_asked(flight: FlightItem) -> list[Score]:
    """Return what is scored of every cup of a flight."""
    return [STRENGTH, *(FACTORS if is_weighed(flight) else (LIKING,)), WORDS]


def session_of_cup(cup: UUID) -> UUID:
    """Return the id of the session that the page writes for a cup."""
    return uuid5(cup, "scores")


def note_of_cup(cup: UUID, score: Score) -> UUID:
    """Return the id of the note that holds a score of a cup."""
    return uuid5(session_of_cup(cup), score.name)


def own_cups(member: Member, flight: FlightItem) -> Sequence[OwnCup]:
    """Return the member's own cups in the order of serving, with what is written of them."""
    cups = [cup for cup in flight.cups if cup.taster == member.user_id]
    sessions = Session.objects.filter(flight_cup__in=[cup.id for cup in cups], taster=member.user_id, removed=False)
    by_cup: dict[UUID | None, list[UUID]] = {}
    for session, of in sessions.values_list("id", "flight_cup_id"):
        by_cup.setdefault(of, []).append(session)
    written = [session_of_cup(cup.id) for cup in cups]
    notes = {note.id: note for note in Note.objects.filter(session__in=written, removed=False)}
    scores = scores_asked(flight)
    own = []
    for cup in cups:
        others = [session for session in by_cup.get(cup.id, []) if session != session_of_cup(cup.id)]
        values: dict[str, float | str] = {}
        for score in scores:
            note = notes.get(note_of_cup(cup.id, score))
            value = None if note is None else note.text if score.descriptor is None else note.intensity
            if value not in (None, ""):
                values[score.name] = value if isinstance(value, str) else float(value)
        is_stored = session_of_cup(cup.id) in by_cup.get(cup.id, [])
        elsewhere = others[0] if others and not is_stored else None
        own.append(OwnCup(cup=cup, is_stored=is_stored, values=values if is_stored else {}, elsewhere=elsewhere))
    return own
