"""A lot's cups in the reader's pot beside those in the vessel of the tastings, as the report shows them. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from tastings.maths.curve.development import CurvePoint
from tastings.maths.forecast.vessel import CupStrength, VesselForecast
from tastings.reports.marks import Drawing, both_widths
from tastings.reports.side_by_side import curves_chart
from tastings.wording.forecast import vessel_forecast_note, vessel_forecast_sentence, vessel_words
from tastings.wording.numbers import capitalised


@dataclass(frozen=True, slots=True)
class OtherVesselSection:
    """What is said of it, and the two curves."""

    sentence: str
    note: str
    chart: Drawing


def other_vessel_section(forecast: VesselForecast | None) -> OtherVesselSection | None:
    """Write the section; None where there is no forecast, or the pot is like that of the tastings."""
    if forecast is None:
        return None
    curves = [_curve([cup.first for cup in forecast.cups]), _curve([cup.other for cup in forecast.cups])]
    pots = ((forecast.first, forecast.other), (forecast.other, forecast.first))
    names = [capitalised(vessel_words(pot, other=other)) for pot, other in pots]
    title = _("Strength in two vessels with the same steeps")
    return OtherVesselSection(
        sentence=vessel_forecast_sentence(forecast),
        note=vessel_forecast_note(),
        chart=both_widths(lambda width: curves_chart(curves, names=names, of=_("Strength"), title=title, width=width)),
    )


def _curve(cups: Sequence[CupStrength]) -> list[CurvePoint]:
    return [CurvePoint(n, cup.mean, cup.low, cup.high, None, 0) for n, cup in enumerate(cups, start=1)]
