"""The report's drawings. Pure functions from plain records to SVG text; every text in them is escaped.

Numbers are those of the development record, rounded to one decimal where they are printed.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from tastings.reports.marks import (
    BAND,
    CURVE,
    GRID,
    INK,
    NARROW,
    PAPER,
    SOFT_INK,
    Frame,
    named,
    number,
    picture,
    shortened,
    tag,
    taster_mark,
    text_width,
    words,
)
from tastings.reports.strips import by_peak, curve_of, descriptor_strips, sparkline
from tastings.reports.words import LAST_INFUSION, one_decimal, steep_span, steeps_sentence

__all__ = ["by_peak", "curve_of", "descriptor_strips", "sparkline", "strength_chart"]

_HALO = {"paint_order": "stroke", "stroke": PAPER, "stroke_width": 4, "stroke_linejoin": "round"}


def strength_chart(development: Mapping[str, Any], tasted: Sequence[Mapping[str, Any]], *, width: int = 720) -> str:
    """Draw strength over the even-brew infusions, with what each taster found.

    Parameters
    ----------
    development : mapping
        The development record of one lot.
    tasted : sequence of mappings
        ``taster`` (as it shall be written), ``session``, ``infusion``, ``descriptor`` and ``adjusted``;
        only strength is drawn, and only what carries an adjusted rating. [points, 0 to 10]
    width : int
        Of the drawing [px]; below 560 the margins are those of a telephone.

    Returns
    -------
    str
        A stand-alone SVG element.
    """
    points = curve_of(development, "strength")
    found = [
        t for t in tasted if t.get("descriptor") == "strength" and t.get("adjusted") is not None and t["infusion"] > 0
    ]
    tasters = sorted({str(t.get("taster")) for t in found})
    infusions = max([LAST_INFUSION, *(int(p["infusion"]) for p in points), *(int(t["infusion"]) for t in found)])
    height = 310.0 if width < NARROW else 336.0
    frame = Frame(left=34.0, right=width - 10.0, top=62.0, bottom=height - 44.0, infusions=infusions)
    legend, legend_height = _legend(tasters, width=width, top=height + 6)
    return picture(
        _grid(frame),
        _curve(frame, points),
        _steep_mark(frame, development.get("steeps") or {}),
        _tasted_marks(frame, found, tasters),
        _finish_line(frame, development.get("steeps") or {}, points),
        "" if points else _nothing_yet(frame),
        legend if points or tasters else "",
        width=width,
        height=height + legend_height if points or tasters else height,
        title="Strength over the infusions of the even brew",
        desc=strength_in_words(development, points, tasters),
    )


def _grid(frame: Frame) -> str:
    lines = []
    for points in (0, 2, 4, 6, 8, 10):
        y = frame.y(points)
        lines.append(tag("line", x1=frame.left, x2=frame.right, y1=y, y2=y, stroke=GRID, stroke_width=1))
        lines.append(words(points, x=frame.left - 7, y=y + 4.5, font_size=13, text_anchor="end", fill=SOFT_INK))
    step = 1 if frame.infusions <= 16 else 2 if frame.infusions <= 32 else 10
    for infusion in range(1 if step < 10 else 10, frame.infusions + 1, step):
        x = frame.x(infusion)
        lines.append(words(infusion, x=x, y=frame.bottom + 17, font_size=13, text_anchor="middle", fill=SOFT_INK))
    middle = (frame.left + frame.right) / 2
    lines.append(words("infusion", x=middle, y=frame.bottom + 35, font_size=13, text_anchor="middle", fill=SOFT_INK))
    lines.append(words("strength, 0 to 10", x=4.0, y=14.0, font_size=13, fill=SOFT_INK))
    return "".join(lines)


def _curve(frame: Frame, points: Sequence[Mapping[str, Any]]) -> str:
    if not points:
        return ""
    banded = [p for p in points if p.get("low") is not None and p.get("high") is not None]
    edge = [(frame.x(p["infusion"]), frame.y(p["high"])) for p in banded]
    edge += [(frame.x(p["infusion"]), frame.y(p["low"])) for p in reversed(banded)]
    middle = [(frame.x(p["infusion"]), frame.y(p["mean"])) for p in points]
    return (
        (tag("polygon", points=_pairs(edge), fill=BAND) if edge else "")
        + tag("polyline", points=_pairs(middle), fill="none", stroke=CURVE, stroke_width=2.5, stroke_linejoin="round")
        + "".join(tag("circle", cx=x, cy=y, r=2.5, fill=CURVE) for x, y in middle)
    )


def _pairs(places: Iterable[tuple[float, float]]) -> str:
    return " ".join(f"{number(x)},{number(y)}" for x, y in places)


def _tasted_marks(frame: Frame, found: Sequence[Mapping[str, Any]], tasters: Sequence[str]) -> str:
    """Draw what was tasted, each taster and session a little apart, so that equal ratings stay countable."""
    sessions = {
        name: sorted({str(t.get("session")) for t in found if str(t.get("taster")) == name}) for name in tasters
    }
    lanes = [(name, session) for name in tasters for session in sessions[name]]
    room = 0.64 * (frame.x(2) - frame.x(1))
    marks = []
    for rating in found:
        name = str(rating.get("taster"))
        lane = lanes.index((name, str(rating.get("session"))))
        beside = room * ((lane + 0.5) / len(lanes) - 0.5)
        place = {"x": frame.x(rating["infusion"]) + beside, "y": frame.y(rating["adjusted"])}
        marks.append(taster_mark(tasters.index(name), **place, size=3.0 if room < 30 else 4.2))
    return "".join(marks)


def _finish_line(frame: Frame, steeps: Mapping[str, Any], points: Sequence[Mapping[str, Any]]) -> str:
    """Draw the finish line; its label stands where the curve keeps further away from it, at the start or the end."""
    line = steeps.get("finish_line")
    if line is None:
        return ""
    y = frame.y(line)
    gaps = [float(p["mean"]) - line for p in points] or [1.0]
    third = -(-len(gaps) // 3)  # so wide is the label on a telephone
    at_end = min(map(abs, gaps[-third:])) > min(map(abs, gaps[:third]))
    gap = gaps[-1] if at_end else gaps[0]
    place = {"x": frame.right - 4, "text_anchor": "end"} if at_end else {"x": frame.left + 4, "text_anchor": "start"}
    return tag(
        "line", x1=frame.left, x2=frame.right, y1=y, y2=y, stroke=INK, stroke_width=1.5, stroke_dasharray="6 4"
    ) + words(
        f"finish line {one_decimal(line)}",
        **place,
        y=y + (15 if gap > 0 else -6),
        font_size=13,
        font_weight=600,
        **_HALO,
    )


def _steep_mark(frame: Frame, steeps: Mapping[str, Any]) -> str:
    recommended = steeps.get("recommended")
    if not recommended:
        return ""
    x, y = frame.x(min(recommended, frame.infusions)), 50.0
    low, high = steeps.get("low"), steeps.get("high")
    label = f"good for {steep_span(steeps)}"
    half = text_width(label, size=14) / 2
    centre = min(max(x, frame.left + half), frame.right - half)
    drawn = tag("line", x1=x, x2=x, y1=y, y2=frame.bottom, stroke=INK, stroke_width=1.5)
    if low is not None and high is not None:
        ends = [frame.x(min(max(n, 0.5), frame.infusions)) for n in (low, high)]
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
        "no curve yet: rate the strength of each cup",
        x=(frame.left + frame.right) / 2,
        y=(frame.top + frame.bottom) / 2,
        font_size=14,
        text_anchor="middle",
        **_HALO,
    )


def _legend(tasters: Sequence[str], *, width: float, top: float) -> tuple[str, float]:
    """Write what the marks mean, in as many lines as it takes; returns the drawing and its height. [px]."""
    x, y, parts = 8.0, top + 12, []
    parts.append(tag("rect", x=x, y=y - 11, width=22, height=13, fill=BAND))
    parts.append(tag("line", x1=x, x2=x + 22, y1=y - 4.5, y2=y - 4.5, stroke=CURVE, stroke_width=2.5))
    parts.append(words("mean cup, with the 80\u00a0% interval", x=x + 29, y=y, font_size=13))
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


def strength_in_words(
    development: Mapping[str, Any], points: Sequence[Mapping[str, Any]], tasters: Sequence[str]
) -> str:
    if not points:
        return "No curve yet: no cup's strength has been rated."
    cups = "; ".join(
        f"infusion {p['infusion']}: {one_decimal(p['mean'])}"
        + (f" ({one_decimal(p['low'])} to {one_decimal(p['high'])})" if p.get("low") is not None else "")
        for p in points
    )
    who = f" Single ratings, brought to the even brew, of {', '.join(tasters)}." if tasters else ""
    return f"{cups}. {steeps_sentence(development.get('steeps'))}{who}"
