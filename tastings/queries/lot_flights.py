"""How a lot did in the blind flights that are revealed."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from uuid import UUID

from tastings.models import Flight, FlightLot
from tastings.queries.flight_answers import stored_flight_figures


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightPlace:
    """Where a lot stands in one flight."""

    flight: UUID
    name: str
    of_sample: bool  # whether it was the sample that the lot was bought on
    # place, lots: by liking, 1 for the best, and among how many; 0 while nothing is worked out, or for a control
    place: int = 0
    lots: int = 0
    p_best: float | None = None  # probability of being the best
    # mean, low, high: liking, adjusted, with its central 80 % [points, 0 to 10]
    mean: float | None = None
    low: float | None = None
    high: float | None = None
    chosen: bool | None = None  # whether it was bought; None before the decision


def flights_of_lots(team: UUID, lots: Mapping[UUID, bool]) -> tuple[FlightPlace, ...]:
    """Return the revealed flights of lots, the latest first; ``lots`` says which are samples of the lot in question."""
    rows = FlightLot.objects.filter(
        team_id=team, lot_id__in=lots, flight__state__in=(Flight.State.REVEALED, Flight.State.DECIDED)
    ).select_related("flight")
    return tuple(
        _place(row.flight, row.lot_id, of_sample=lots[row.lot_id])
        for row in rows.order_by("-flight__revealed_at", "id")
    )


def _place(flight: Flight, lot: UUID, *, of_sample: bool) -> FlightPlace:
    decision = flight.decision
    chosen = None if decision is None else any(choice["lot"] == str(lot) for choice in decision["chosen"])
    unplaced = FlightPlace(flight=flight.id, name=flight.name, of_sample=of_sample, chosen=chosen)
    figures = stored_flight_figures(flight)
    liking = next((measure for measure in figures.measures if measure.measure == "liking"), None) if figures else None
    for place, standing in enumerate(liking.standings if liking else (), start=1):
        if standing.lot == str(lot) and liking is not None:
            return replace(
                unplaced,
                place=place,
                lots=len(liking.standings),
                p_best=standing.p_best,
                mean=standing.mean,
                low=standing.low,
                high=standing.high,
            )
    return unplaced
