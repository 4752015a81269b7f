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
    rows = [ChoosingRow(one.name, f"/flights/{one.flight}/", _flight(one)) for one in flights]
    rows += [
        ChoosingRow(
            one.name, f"/lots/{one.other}/report/", reason(one.check, labels=labels), f"/lots/{one.arrived}/arrival/"
        )
        for one in arrivals
    ]
    return rows


def harvest_rows(lot: UUID, harvests: Sequence[OtherHarvest], *, labels: Mapping[str, str]) -> list[ChoosingRow]:
    """Say of each other harvest of a lot's producer what differs beyond doubt."""
    return [
        ChoosingRow(
            f"{capitalised(harvest_words(one.harvest_year, one.harvest_season))}, {one.name}",
            f"/lots/{one.lot}/report/",
            harvest_difference(one.check, labels=labels),
            f"/compare/?lots={lot}&lots={one.lot}",
        )
        for one in harvests
    ]


def _flight(one: FlightPlace) -> str:
    return " ".join(filter(None, (_place(one), _decision(one))))


def _place(one: FlightPlace) -> str:
    if not one.place or one.p_best is None or one.mean is None or one.low is None or one.high is None:
        return _("No place: it was a control, or the answer is not worked out yet.")
    values = {
        "place": ordinal(one.place),
        "lots": one.lots,
        "points": one_decimal(one.mean),
        "span": number_range(one_decimal(one.low), one_decimal(one.high)),
        "best": percent(one.p_best),
    }
    if one.of_sample:
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


def _decision(one: FlightPlace) -> str:
    if one.chosen is None:
        return _("Not decided yet.")
    return _("It was bought.") if one.chosen else _("It was not bought.")
