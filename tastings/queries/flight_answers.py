"""The stored answer of a flight."""

from uuid import UUID

from django.utils.translation import gettext as _

from lots.models.wire import TO_WIRE
from tastings.errors import WrongState
from tastings.models import Flight
from tastings.queries.flights import flight_row
from teams.models import Member


def answer_for(member: Member, flight: UUID) -> dict[str, object]:
    """Return what a revealed flight says; raise WrongState before the reveal."""
    return answer_shown(flight_row(member, flight))


def answer_shown(flight: Flight) -> dict[str, object]:
    """Return the answer in wire form; ``stale`` while a worker has not got to what is known by now."""
    if flight.revealed_at is None:
        raise WrongState(_("there is an answer once the flight is revealed"))
    return {
        "flight": str(flight.id),
        "stale": flight.answer_made != flight.answer_wanted,
        "answered_at": TO_WIRE["moment"](flight.answered_at),
        "failure": flight.answer_failure or None,
        "measures": [],
        "left_out": [],
    } | (flight.answer or {})
