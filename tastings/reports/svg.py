"""The strength curve of the report as SVG. Pure; every text in it is escaped.

Numbers are those of the figures, rounded to one decimal where they are printed.
"""

from collections.abc import Iterable, Sequence

from django.utils.translation import gettext as _

from tastings.maths.curve.development import CurvePoint, Development
from tastings.maths.curve.steep_count import Steeps
from tastings.maths.curve.tasted import TastedPoint
from tastings.reports.marks import (
    BACKGROUND,
    BAND,
    CURVE,
    INK,
    NARROW_BELOW_PX,
    Frame,
    named,
    number,
    picture,
    rating_grid,
    shortened,
    tag,
    taster_mark,
    text_width,
    words,
)
from tastings.reports.strength import (
    finish_line_place,
    forecast_words,
    infusions_shown,
    last_rated,
    strength_points,
)
from tastings.wording.numbers import capitalised, number_range, one_decimal
from tastings.wording.profile import steep_span, steeps_sentence

LANES_WIDTH = 0.64
"""How far the ratings of one infusion are spread, as a share of the distance between two infusions."""
_FORECAST_DASHES = "5 4"
_HALO = {"paint_order": "stroke", "stroke": BACKGROUND, "stroke_width": 4, "stroke_linejoin": "round"}


def strength_chart(figures: Development, tasted: Sequence[TastedPoint], *, width: int = 720) -> str:
    """Draw strength over the even-brew infusions, with what each taster found; return an SVG element.

    ``tasted`` has each taster's name as it is to be written [points, 0 to 10]. Below a ``width`` of 560 [px] the
    margins are those of a telephone.
    """
    points = strength_points(figures)
    ratings = rated_strength(tasted)
    tasters = sorted({rating.taster for rating in ratings})
    infusions = infusions_shown(points, ratings, steeps=figures.steeps)
    height = 310.0 if width < NARROW_BELOW_PX else 336.0
    frame = Frame(left=34.0, right=width - 10.0, top=62.0, bottom=height - 44.0, infusions=infusions)
    step = 1 if infusions <= 16 else 2 if infusions <= 32 else 10
    numbered = range(1 if step < 10 else 10, infusions + 1, step)
    legend, legend_height = _legend(tasters, forecast=forecast_words(points), width=width, top=height + 6)
    return picture(
        rating_grid(frame, numbered, scale=_("strength, 0 to 10")),
        _curve(frame, points),
        _steep_mark(frame, figures.steeps),
        _tasted_marks(frame, ratings, tasters),
        _finish_line(frame, figures.steeps, points=points, ratings=ratings),
        "" if points else _nothing_yet(frame),
        legend if points or tasters else "",
        width=width,
        height=height + legend_height if points or tasters else height,
        title=_("Strength, infusion by infusion"),
        desc=strength_in_words(figures, tasters),
    )


def rated_strength(tasted: Sequence[TastedPoint]) -> list[TastedPoint]:
    """Return the ratings of strength, those of the rinse left out."""
    return [rating for rating in tasted if rating.descriptor == "strength" and rating.infusion > 0]


def _curve(frame: Frame, points: Sequence[CurvePoint]) -> str:
    if not points:
        return ""
    edge = [(frame.x(p.infusion), frame.y(p.high)) for p in points]
    edge += [(frame.x(p.infusion), frame.y(p.low)) for p in reversed(points)]
    middle = [(frame.x(p.infusion), frame.y(p.mean)) for p in points]
    rated = last_rated(points)
    forecast = middle[max(rated - 1, 0) :] if rated < len(middle) else []
    line = {"fill": "none", "stroke": CURVE, "stroke_width": 2.5, "stroke_linejoin": "round"}
    return (
        tag("polygon", points=_pairs(edge), fill=BAND)
        + tag("polyline", points=_pairs(middle[:rated]), **line)
        + (tag("polyline", points=_pairs(forecast), **line, stroke_dasharray=_FORECAST_DASHES) if forecast else "")
        + "".join(tag("circle", cx=x, cy=y, r=2.5, fill=CURVE) for x, y in middle)
    )


def _pairs(places: Iterable[tuple[float, float]]) -> str:
    return " ".join(f"{number(x)},{number(y)}" for x, y in places)


def _tasted_marks(frame: Frame, ratings: Sequence[TastedPoint], tasters: Sequence[str]) -> str:
    """Draw what was tasted, each taster and session a little apart, so that equal ratings stay countable."""
    room = LANES_WIDTH * (frame.x(2) - frame.x(1))
    marks = []
    for rating, lane in zip(ratings, lanes(ratings), strict=True):
        place = {"x": frame.x(rating.infusion) + room * lane, "y": frame.y(rating.adjusted)}
        marks.append(taster_mark(tasters.index(rating.taster), **place, size=3.0 if room < 30 else 4.2))
    return "".join(marks)


def lanes(ratings: Sequence[TastedPoint]) -> list[float]:
    """Return how far beside the middle of its infusion each rating stands, from -0.5 to 0.5."""
    order = sorted({(rating.taster, rating.session) for rating in ratings})
    lane = {key: (place + 0.5) / len(order) - 0.5 for place, key in enumerate(order)}
    return [lane[rating.taster, rating.session] for rating in ratings]


def _finish_line(frame: Frame, steeps: Steeps, *, points: Sequence[CurvePoint], ratings: Sequence[TastedPoint]) -> str:
    """Draw the finish line; its label stands where curve and count leave room."""
    y, label = frame.y(steeps.finish_line), finish_line_words(steeps.finish_line)
    place = finish_line_place(
        points,
        ratings,
        steeps=steeps,
        infusions=frame.infusions,
        words_width=text_width(label, size=13) / (frame.x(2) - frame.x(1)),
    )
    return tag(
        "line", x1=frame.left, x2=frame.right, y1=y, y2=y, stroke=INK, stroke_width=1.5, stroke_dasharray="6 4"
    ) + words(
        label, x=frame.x(place.left), y=y + (-6 if place.is_above else 15), font_size=13, font_weight=600, **_HALO
    )


def finish_line_words(line: float) -> str:
    """Name the line below which a cup is not worth drinking."""
    return _("worth drinking above %(points)s") % {"points": one_decimal(line)}


def good_for_words(steeps: Steeps) -> str:
    """Say how many steeps a lot is good for."""
    return _("good for %(steeps)s") % {"steeps": steep_span(steeps)}


def _steep_mark(frame: Frame, steeps: Steeps) -> str:
    if not steeps.recommended:
        return ""
    x, y = frame.x(steeps.recommended), 50.0
    low, high = steeps.low, steeps.high
    label = good_for_words(steeps)
    half = text_width(label, size=14) / 2
    centre = min(max(x, frame.left + half), frame.right - half)
    drawn = tag("line", x1=x, x2=x, y1=y, y2=frame.bottom, stroke=INK, stroke_width=1.5)
    if low is not None and high is not None:
        ends = [frame.x(max(n, 0.5)) for n in (low, high)]
        drawn += tag("line", x1=ends[0], x2=ends[1], y1=y, y2=y, stroke=INK, stroke_width=1.5)
        drawn += "".join(tag("line", x1=e, x2=e, y1=y - 4, y2=y + 4, stroke=INK, stroke_width=1.5) for e in ends)
    mark = _pairs(((x - 6, y - 5), (x + 6, y - 5), (x, y + 5)))
    return (
        drawn
        + tag("polygon", points=mark, fill=INK)
        + words(label, x=centre, y=y - 12, font_size=14, font_weight=600, text_anchor="middle", **_HALO)
    )


def _nothing_yet(frame: Frame) -> str:
    return words(
        _("no curve yet: rate the strength of each cup"),
        x=(frame.left + frame.right) / 2,
        y=(frame.top + frame.bottom) / 2,
        font_size=14,
        text_anchor="middle",
        **_HALO,
    )


def _legend(tasters: Sequence[str], *, forecast: str, width: float, top: float) -> tuple[str, float]:
    """Write what the marks mean, in as many lines as it takes; returns the drawing and its height. [px]."""
    x, y, parts = 8.0, top + 12, []
    parts.append(tag("rect", x=x, y=y - 11, width=22, height=13, fill=BAND))
    parts.append(tag("line", x1=x, x2=x + 22, y1=y - 4.5, y2=y - 4.5, stroke=CURVE, stroke_width=2.5))
    parts.append(words(_("mean cup, with the 80\u00a0%% interval") % {}, x=x + 29, y=y, font_size=13))
    if forecast:
        y += 22
        dashed = {"stroke": CURVE, "stroke_width": 2.5, "stroke_dasharray": _FORECAST_DASHES}
        parts.append(tag("line", x1=x, x2=x + 22, y1=y - 4.5, y2=y - 4.5, **dashed))
        parts.append(words(forecast, x=x + 29, y=y, font_size=13))
    y += 22
    for index, name in enumerate(tasters):
        shown = shortened(name, size=13, room=min(200.0, width - 48))
        needed = 34 + text_width(shown, size=13)
        if x + needed > width and x > 8:
            x, y = 8.0, y + 22
        mark = taster_mark(index, x=x + 7, y=y - 4.5)
        parts.append(tag("g", named("title", name), mark, words(shown, x=x + 18, y=y, font_size=13)))
        x += needed
    return "".join(parts), y - top + (10 if tasters else -12)


def strength_in_words(figures: Development, tasters: Sequence[str]) -> str:
    """Say what the drawing shows, for those who do not see it."""
    points = strength_points(figures)
    if not points:
        return _("No curve yet: no cup's strength has been rated.")
    cups = "; ".join(
        _("infusion %(number)s: %(mean)s (%(span)s)")
        % {
            "number": point.infusion,
            "mean": one_decimal(point.mean),
            "span": number_range(one_decimal(point.low), one_decimal(point.high)),
        }
        for point in points
    )
    forecast = forecast_words(points)
    sentences = [f"{cups}.", *([f"{capitalised(forecast)}."] if forecast else []), steeps_sentence(figures.steeps)]
    if tasters:
        names = {"tasters": ", ".join(tasters)}
        sentences.append(_("Single ratings, allowing for how they brewed, of %(tasters)s.") % names)
    return " ".join(sentences)
