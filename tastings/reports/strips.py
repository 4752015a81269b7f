"""Small drawings: one row per rated descriptor, and a curve for a line of a list. Pure."""

from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import Any

from tastings.reports.marks import (
    BAR,
    CURVE,
    GRID,
    INK,
    NARROW,
    PAPER,
    SOFT_INK,
    Frame,
    named,
    picture,
    shortened,
    tag,
    words,
)
from tastings.reports.words import LAST_INFUSION, one_decimal, plain


def curve_of(development: Mapping[str, Any], descriptor: str) -> list[Mapping[str, Any]]:
    """Return the points of one descriptor's curve by infusion; empty when it has none."""
    for curve in development.get("curves") or ():
        if curve.get("descriptor") == descriptor:
            points = [p for p in curve.get("points") or () if p.get("mean") is not None]
            return sorted(points, key=lambda p: float(p["infusion"]))
    return []


def by_peak(curves: Iterable[Mapping[str, Any]]) -> list[tuple[str, list[Mapping[str, Any]], int]]:
    """Sort curves by the infusion at which their mean is highest; gives descriptor, points and that infusion."""
    rows = []
    for curve in curves:
        points = curve_of({"curves": [curve]}, curve["descriptor"])
        if points:
            top = max(points, key=lambda p: (float(p["mean"]), -float(p["infusion"])))
            rows.append((str(curve["descriptor"]), points, int(top["infusion"]), float(top["mean"])))
    rows.sort(key=lambda row: (row[2], -row[3], row[0]))
    return [row[:3] for row in rows]


def descriptor_strips(
    development: Mapping[str, Any], *, labels: Mapping[str, str] | None = None, width: int = 720
) -> str:
    """Draw one row of small columns per rated descriptor, those that peak early first.

    Parameters
    ----------
    development : mapping
        The development record of one lot; only ``curves`` is read.
    labels : mapping, optional
        Labels by descriptor key.
    width : int
        Of the drawing [px]; below 560 the name stands above its row.

    Returns
    -------
    str
        A stand-alone SVG element: columns of the mean cup with a thin line for the 80 % interval, each with its number.
    """
    rows = by_peak(development.get("curves") or ())
    narrow = width < NARROW
    infusions = max([LAST_INFUSION, *(int(p["infusion"]) for _, points, _ in rows for p in points)])
    left, height, top = (4.0, 86.0, 22.0) if narrow else (186.0, 62.0, 22.0)
    parts, told = [], []
    heads = Frame(left=left, right=width - 4.0, top=0, bottom=top, infusions=infusions)
    parts += [
        words(infusion, x=heads.x(infusion), y=14.0, font_size=12, text_anchor="middle", fill=SOFT_INK)
        for infusion in range(1, infusions + 1)
    ]
    for index, (descriptor, points, peak) in enumerate(rows):
        head = top + index * height
        frame = Frame(
            left=left,
            right=width - 4.0,
            top=head + (28 if narrow else 6),
            bottom=head + height - 20,
            infusions=infusions,
        )
        label = plain(descriptor, labels)
        room = width - 8.0 if narrow else left - 14
        place = {"x": left, "y": head + 21} if narrow else {"x": 2.0, "y": frame.bottom}
        shown = shortened(label, size=14, room=room)
        parts.append(tag("g", named("title", label), words(shown, **place, font_size=14, font_weight=600)))
        parts += [_column(frame, p, peak=p["infusion"] == peak) for p in points]
        told.append(f"{label} peaks at infusion {peak}: {', '.join(one_decimal(p['mean']) for p in points)}")
    return picture(
        *parts,
        width=width,
        height=top + len(rows) * height,
        title="Each rating over the infusions, 0 to 10, in the order in which they peak",
        desc="; ".join(told) + "." if told else "Nothing has been rated yet.",
    )


def _column(frame: Frame, point: Mapping[str, Any], *, peak: bool) -> str:
    x, y = frame.x(point["infusion"]), frame.y(point["mean"])
    half = min(0.36 * (frame.x(2) - frame.x(1)), 13.0)
    drawn = tag("rect", x=x - half, y=y, width=2 * half, height=max(frame.bottom - y, 0.5), fill=CURVE if peak else BAR)
    if point.get("low") is not None and point.get("high") is not None:
        ends = {"y1": frame.y(point["high"]), "y2": frame.y(point["low"])}
        drawn += tag("line", x1=x, x2=x, **ends, stroke=PAPER, stroke_width=3.2)
        drawn += tag("line", x1=x, x2=x, **ends, stroke=INK, stroke_width=1.2)
    drawn += tag(
        "line", x1=x - half - 2, x2=x + half + 2, y1=frame.bottom, y2=frame.bottom, stroke=SOFT_INK, stroke_width=1
    )
    weight = {"font_weight": 700} if peak else {}
    return drawn + words(
        one_decimal(point["mean"]), x=x, y=frame.bottom + 14, font_size=12, text_anchor="middle", **weight
    )


def sparkline(points: Sequence[Mapping[str, Any]], *, width: int = 132, height: int = 36) -> str:
    """Draw a curve small enough for a line of a list; empty text when there are fewer than two points. [px]."""
    known = [p for p in points if p.get("mean") is not None]
    if len(known) < 2:
        return ""
    infusions = max(LAST_INFUSION, *(int(p["infusion"]) for p in known))
    frame = Frame(left=2.0, right=width - 2.0, top=4.0, bottom=height - 3.0, infusions=infusions)
    places = [(frame.x(p["infusion"]), frame.y(p["mean"])) for p in known]
    peak = min(places, key=lambda place: place[1])
    return picture(
        tag("line", x1=frame.left, x2=frame.right, y1=frame.bottom, y2=frame.bottom, stroke=GRID, stroke_width=1),
        "".join(
            tag("line", x1=a[0], x2=b[0], y1=a[1], y2=b[1], stroke=CURVE, stroke_width=2, stroke_linecap="round")
            for a, b in pairwise(places)
        ),
        tag("circle", cx=peak[0], cy=peak[1], r=3.2, fill=CURVE),
        width=width,
        height=height,
        title=f"Strength from {one_decimal(known[0]['mean'])} in cup {known[0]['infusion']} "
        f"to {one_decimal(known[-1]['mean'])} in cup {known[-1]['infusion']}",
        desc="The dot marks the strongest cup.",
    )
