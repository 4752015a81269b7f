"""The stored answer of a flight, with the names that its reader may see."""

from uuid import UUID

from django.utils.translation import gettext as _

from lots.models import Lot
from tastings.answers.flight_answers import FlightAnswer, left_out_of, measure_of
from tastings.errors import WrongState
from tastings.figures import if_readable
from tastings.maths.flights.result import FlightFigures
from tastings.models import Flight
from tastings.queries.flights import flight_row
from tastings.queries.late_scores import late_sessions
from teams.models import Member, User


def answer_for(member: Member, flight: UUID) -> FlightAnswer:
    """Return the answer of a revealed flight; raise WrongState before the reveal."""
    return answer_of_flight(flight_row(member, flight))


def answer_of_flight(flight: Flight) -> FlightAnswer:
    """Return the answer, ``stale`` until the latest scores are computed; raise WrongState before the reveal."""
    if flight.revealed_at is None:
        raise WrongState(_("there is an answer once the flight is revealed"))
    figures = stored_flight_figures(flight)
    names = _names(figures) if figures is not None else {}
    return FlightAnswer(
        flight=flight.id,
        stale=flight.answer_made != flight.answer_wanted or (figures is None and flight.answer is not None),
        answered_at=flight.answered_at,
        failure=flight.answer_failure or None,
        measures=[measure_of(measure, names=names) for measure in figures.measures] if figures is not None else [],
        left_out=left_out_of(figures) if figures is not None else [],
        late=[late.shown for late in late_sessions(flight)] if flight.counted is not None else [],
    )


def stored_flight_figures(flight: Flight) -> FlightFigures | None:
    """Return the figures that were computed; None without any, or when another version of the method stored them."""
    return if_readable(FlightFigures, flight.answer)


def _names(figures: FlightFigures) -> dict[str, str]:
    """Return what the lots and tasters of the figures are called, by id."""
    lots = {standing.lot for measure in figures.measures for standing in (*measure.standings, *measure.controls)}
    tasters = {taster.taster for measure in figures.measures for taster in measure.tasters}
    names = {str(key): name for key, name in Lot.objects.filter(id__in=lots).values_list("id", "name")}
    return names | {str(user.id): str(user) for user in User.objects.filter(id__in=tasters)}
