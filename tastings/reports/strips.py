"""Small drawings: one row per rated descriptor, and a curve for a line of a list. Pure."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from django.utils.translation import gettext as _

from tastings.maths.brewing.even_brew import EVEN_INFUSIONS
from tastings.maths.curve.development import CurvePoint, DescriptorCurve
from tastings.reports.marks import (
    BACKGROUND,
    BAR,
    CURVE,
    GRID,
    INK,
    NARROW_BELOW_PX,
    SOFT_INK,
    Frame,
    named,
    picture,
    shortened,
    tag,
    words,
)
from tastings.wording.labels import descriptor_label
from tastings.wording.numbers import one_decimal


@dataclass(frozen=True, slots=True)
class PeakRow:
    """A descriptor's curve and the infusion at which its mean is highest."""

    descriptor: str
    points: tuple[CurvePoint, ...]
    peak: int


def by_peak(curves: Iterable[DescriptorCurve]) -> list[PeakRow]:
    """Sort curves by the infusion at which their mean is highest, the highest first where that is the same."""
    rows = []
    for curve in curves:
        top = max(curve.points, key=lambda point: (point.mean, -point.infusion))
        rows.append((top.infusion, -top.mean, curve.descriptor, curve.points))
    return [PeakRow(descriptor, points, peak) for peak, _mean, descriptor, points in sorted(rows)]


def descriptor_strips(curves: Sequence[DescriptorCurve], *, labels: Mapping[str, str], width: int = 720) -> str:
    """Draw one row of small columns per rated descriptor, those that peak early first; return an SVG element.

    The columns are the mean cup with a thin line for the 80 % interval, each with its number. ``labels`` are by
    descriptor key. Below a ``width`` of 560 [px] the name stands above its row.
    """
    rows = by_peak(curves)
    narrow = width < NARROW_BELOW_PX
    infusions = max([EVEN_INFUSIONS, *(point.infusion for row in rows for point in row.points)])
    left, height, top = (4.0, 86.0, 22.0) if narrow else (186.0, 62.0, 22.0)
    parts, in_words = [], []
    heads = Frame(left=left, right=width - 4.0, top=0, bottom=top, infusions=infusions)
    parts += [
        words(infusion, x=heads.x(infusion), y=14.0, font_size=12, text_anchor="middle", fill=SOFT_INK)
        for infusion in range(1, infusions + 1)
    ]
    for index, row in enumerate(rows):
        head = top + index * height
        frame = Frame(
            left=left,
            right=width - 4.0,
            top=head + (28 if narrow else 6),
            bottom=head + height - 20,
            infusions=infusions,
        )
        label = descriptor_label(row.descriptor, labels)
        room = width - 8.0 if narrow else left - 14
        place = {"x": left, "y": head + 21} if narrow else {"x": 2.0, "y": frame.bottom}
        shown = shortened(label, size=14, room=room)
        parts.append(tag("g", named("title", label), words(shown, **place, font_size=14, font_weight=600)))
        parts += [_column(frame, point, peak=point.infusion == row.peak) for point in row.points]
        in_words.append(peak_words(label, row))
    return picture(
        *parts,
        width=width,
        height=top + len(rows) * height,
        title=_("Each rating over the infusions, 0 to 10, in the order in which they peak"),
        desc="; ".join(in_words) + "." if in_words else _("Nothing has been rated yet."),
    )


def peak_words(label: str, row: PeakRow) -> str:
    """Say where a descriptor peaks, and its mean cup by cup."""
    return _("%(descriptor)s peaks at infusion %(peak)s: %(cups)s") % {
        "descriptor": label,
        "peak": row.peak,
        "cups": ", ".join(one_decimal(point.mean) for point in row.points),
    }


def _column(frame: Frame, point: CurvePoint, *, peak: bool) -> str:
    x, y = frame.x(point.infusion), frame.y(point.mean)
    half = min(0.36 * (frame.x(2) - frame.x(1)), 13.0)
    drawn = tag("rect", x=x - half, y=y, width=2 * half, height=max(frame.bottom - y, 0.5), fill=CURVE if peak else BAR)
    ends = {"y1": frame.y(point.high), "y2": frame.y(point.low)}
    drawn += tag("line", x1=x, x2=x, **ends, stroke=BACKGROUND, stroke_width=3.2)
    drawn += tag("line", x1=x, x2=x, **ends, stroke=INK, stroke_width=1.2)
    drawn += tag(
        "line", x1=x - half - 2, x2=x + half + 2, y1=frame.bottom, y2=frame.bottom, stroke=SOFT_INK, stroke_width=1
    )
    weight = {"font_weight": 700} if peak else {}
    return drawn + words(
        one_decimal(point.mean), x=x, y=frame.bottom + 14, font_size=12, text_anchor="middle", **weight
    )


def sparkline(points: Sequence[CurvePoint], *, width: int = 168) -> str:
    """Draw a curve small enough for a line of a list; empty text when there are fewer than two points. [px]."""
    if len(points) < 2:
        return ""
    height = 56
    infusions = max(EVEN_INFUSIONS, *(point.infusion for point in points))
    frame = Frame(left=2.0, right=width - 2.0, top=4.0, bottom=height - 3.0, infusions=infusions)
    places = [(frame.x(point.infusion), frame.y(point.mean)) for point in points]
    peak = min(places, key=lambda place: place[1])
    first, last = points[0], points[-1]
    return picture(
        tag("line", x1=frame.left, x2=frame.right, y1=frame.bottom, y2=frame.bottom, stroke=GRID, stroke_width=1),
        "".join(
            tag("line", x1=a[0], x2=b[0], y1=a[1], y2=b[1], stroke=CURVE, stroke_width=2, stroke_linecap="round")
            for a, b in pairwise(places)
        ),
        tag("circle", cx=peak[0], cy=peak[1], r=3.2, fill=CURVE),
        width=width,
        height=height,
        title=_("Strength from %(from)s in cup %(first)s to %(to)s in cup %(last)s")
        % {
            "from": one_decimal(first.mean),
            "first": first.infusion,
            "to": one_decimal(last.mean),
            "last": last.infusion,
        },
        desc=_("The dot marks the strongest cup."),
    )
