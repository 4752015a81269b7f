"""The picture of a flight's answer: each lot's mean with its band, the best on top. Pure; every text is escaped."""

from collections.abc import Callable, Mapping, Sequence
from math import ceil, floor

from django.utils.translation import gettext as _

from tastings.answers.flight_answers import FlightMeasure, FlightStanding
from tastings.reports.marks import BAND, CURVE, GRID, NARROW_BELOW_PX, SOFT_INK, named, picture, shortened, tag, words
from tastings.wording.numbers import number, one_decimal, percent

_ROW = 26.0
_TOP = 40.0


def standings_chart(measure: FlightMeasure, *, names: Mapping[str, str], width: int = 720) -> str:
    """Draw the lots of one measure as a column of means with 80 % bands; ``names`` are by lot.

    Below a ``width`` of 560 [px] names stand above their rows.
    """
    standings = measure.standings
    narrow = width < NARROW_BELOW_PX
    row = _ROW * (1.75 if narrow else 1.0)
    left, right = (8.0 if narrow else 260.0), width - 104.0
    low, high, step = _span(standings, scale=measure.scale)
    bottom = _TOP + row * len(standings) + 4

    def x(points: float) -> float:
        return left + (min(max(points, low), high) - low) / (high - low) * (right - left)

    marks = [_ruler(x, low, high, step=step, bottom=bottom)]
    marks.append(words(_("best"), x=width - 8, y=_TOP - 12, text_anchor="end", font_size=12, fill=SOFT_INK))
    for i, standing in enumerate(standings):
        y = _TOP + row * (i + 0.5) + (row * 0.2 if narrow else 0)
        marks.append(_lot(standing, names=names, x=x, y=y, left=left, width=width, narrow=narrow))
    return picture(
        *marks,
        width=width,
        height=bottom + 30,
        title=_("Lots of the flight by their adjusted mean"),
        desc=_in_words(standings, names),
    )


def _span(standings: Sequence[FlightStanding], *, scale: float) -> tuple[float, float, float]:
    """Return the part of the scale to draw, all that any band covers in round numbers, and the ruler's step."""
    lowest = min((standing.low for standing in standings), default=0.0)
    highest = max((standing.high for standing in standings), default=scale)
    step = _step((highest - lowest) / scale) * scale
    low = max(0.0, step * floor(lowest / step))
    high = min(scale, step * ceil(highest / step))
    return (low, high, step) if high > low else (0.0, scale, scale / 5)


def _step(share: float) -> float:
    """Return the distance of the ruler's marks, as a share of the scale: at most seven stand over what is drawn."""
    return next((step for step in (0.01, 0.02, 0.05, 0.1) if share <= 6 * step), 0.2)


def _ruler(x: Callable[[float], float], low: float, high: float, *, step: float, bottom: float) -> str:
    ticks = [low + i * step for i in range(round((high - low) / step) + 1)]
    lines = [
        tag("line", x1=x(tick), x2=x(tick), y1=_TOP - 4, y2=bottom, stroke=GRID, stroke_width=1)
        + words(number(tick), x=x(tick), y=bottom + 16, text_anchor="middle", font_size=12, fill=SOFT_INK)
        for tick in ticks
    ]
    return "".join(lines) + words(
        _("points, adjusted; bands hold the true mean in 80 %%") % {}, x=x(low), y=16, font_size=12, fill=SOFT_INK
    )


def _lot(  # noqa: PLR0913 - where it stands in the drawing
    lot: FlightStanding,
    *,
    names: Mapping[str, str],
    x: Callable[[float], float],
    y: float,
    left: float,
    width: float,
    narrow: bool,
) -> str:
    name = names.get(str(lot.lot), str(lot.lot))
    if narrow:
        label = words(shortened(name, size=13, room=width - 80), x=left, y=y - 10, font_size=13)
    else:
        label = words(shortened(name, size=13, room=left - 20), x=left - 12, y=y + 4.5, text_anchor="end", font_size=13)
    band = tag(
        "rect", x=x(lot.low), y=y - 5, width=max(x(lot.high) - x(lot.low), 1.0),
        height=10.0, rx=2, fill=BAND,
    )  # fmt: skip
    dot = tag("circle", named("title", f"{name}: {one_decimal(lot.mean)}"), cx=x(lot.mean), cy=y, r=4.5, fill=CURVE)
    p_best = words(percent(lot.p_best), x=width - 8, y=y + 4.5, text_anchor="end", font_size=13)
    return label + band + dot + p_best


def _in_words(standings: Sequence[FlightStanding], names: Mapping[str, str]) -> str:
    bands = [
        _("%(lot)s: %(mean)s, %(low)s to %(high)s")
        % {
            "lot": names.get(str(standing.lot), str(standing.lot)),
            "mean": one_decimal(standing.mean),
            "low": one_decimal(standing.low),
            "high": one_decimal(standing.high),
        }
        for standing in standings
    ]
    return _("Adjusted means and 80 %% bands. %(lots)s.") % {"lots": "; ".join(bands)}
