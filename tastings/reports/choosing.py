"""How a lot was chosen, whether it arrived as chosen, and its other harvests, as lines of the report. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from django.utils.translation import gettext as _

from tastings.queries.lot_flights import FlightPlace
from tastings.queries.other_harvests import OtherHarvest
from tastings.queries.reports import Arrival
from tastings.wording.arrival import reason
from tastings.wording.harvests import harvest_difference, harvest_words
from tastings.wording.numbers import capitalised, number_range, one_decimal, ordinal, percent


@dataclass(frozen=True, slots=True)
class ChoosingRow:
    """A flight, a sample or an arrived lot with its address, and what is to be said of the lot there."""

    name: str
    href: str
    sentence: str
    details: str = ""
    """The address of a page that says more."""


def choosing_rows(
    flights: Sequence[FlightPlace], arrivals: Sequence[Arrival], *, labels: Mapping[str, str]
) -> list[ChoosingRow]:
    """Say how a lot did in each of its flights, and how it compares with its sample, or the lots bought on it."""
    rows = [ChoosingRow(flight.name, f"/flights/{flight.flight}/", _flight(flight)) for flight in flights]
    rows += [
        ChoosingRow(
            row.name, f"/lots/{row.other}/report/", reason(row.check, labels=labels), f"/lots/{row.arrived}/arrival/"
        )
        for row in arrivals
    ]
    return rows


def harvest_rows(lot: UUID, harvests: Sequence[OtherHarvest], *, labels: Mapping[str, str]) -> list[ChoosingRow]:
    """Say of each other harvest of a lot's producer what differs beyond doubt."""
    return [
        ChoosingRow(
            f"{capitalised(harvest_words(harvest.harvest_year, harvest.harvest_season))}, {harvest.name}",
            f"/lots/{harvest.lot}/report/",
            harvest_difference(harvest.check, labels=labels),
            f"/compare/?lots={lot}&lots={harvest.lot}",
        )
        for harvest in harvests
    ]


def _flight(flight: FlightPlace) -> str:
    return " ".join(filter(None, (_place(flight), _decision(flight))))


def _place(flight: FlightPlace) -> str:
    if not flight.place or flight.p_best is None or flight.mean is None or flight.low is None or flight.high is None:
        return _("No place: it was a control, or the answer is not worked out yet.")
    values = {
        "place": ordinal(flight.place),
        "lots": flight.lots,
        "points": one_decimal(flight.mean),
        "span": number_range(one_decimal(flight.low), one_decimal(flight.high)),
        "best": percent(flight.p_best),
    }
    if flight.of_sample:
        sentence = _(
            "Its sample came %(place)s of %(lots)s by liking, %(points)s (%(span)s); the probability that it is the"
            " best is %(best)s."
        )
    else:
        sentence = _(
            "It came %(place)s of %(lots)s by liking, %(points)s (%(span)s); the probability that it is the best is"
            " %(best)s."
        )
    return sentence % values


def _decision(flight: FlightPlace) -> str:
    if flight.chosen is None:
        return _("Not decided yet.")
    return _("It was bought.") if flight.chosen else _("It was not bought.")
