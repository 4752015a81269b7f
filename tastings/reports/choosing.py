"""How a lot was chosen and whether it arrived as chosen, as lines of the report. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from tastings.queries.lot_flights import FlightPlace
from tastings.queries.reports import ArrivedFrom
from tastings.wording.arrival import reason
from tastings.wording.numbers import number_range, one_decimal, ordinal, percent


@dataclass(frozen=True, slots=True)
class ChoosingRow:
    """A flight or a sample with its address, and what is to be said of the lot there."""

    name: str
    href: str
    sentence: str
    details: str = ""
    """The address of a page that says more."""


def choosing_rows(
    flights: Sequence[FlightPlace], arrival: ArrivedFrom | None, *, labels: Mapping[str, str]
) -> list[ChoosingRow]:
    """Say how a lot did in each of its flights, and how it compares with the sample it was bought on."""
    rows = [ChoosingRow(one.name, f"/flights/{one.flight}/", _flight(one)) for one in flights]
    if arrival is not None:
        sentence = reason(arrival.found, labels=labels)
        rows.append(
            ChoosingRow(arrival.name, f"/lots/{arrival.sample}/report/", sentence, f"/lots/{arrival.lot}/arrival/")
        )
    return rows


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
        return (
            _("Its sample came %(place)s of %(lots)s by liking, %(points)s (%(span)s); the best with %(best)s.")
            % values
        )
    return _("It came %(place)s of %(lots)s by liking, %(points)s (%(span)s); the best with %(best)s.") % values


def _decision(one: FlightPlace) -> str:
    if one.chosen is None:
        return _("Not decided yet.")
    return _("It was bought.") if one.chosen else _("It was not bought.")
