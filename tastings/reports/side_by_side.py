"""The curves of several lots in one drawing, told apart by letter, mark and dash as well as by colour. Pure."""

from collections.abc import Mapping, Sequence

from django.utils.translation import gettext as _

from tastings.maths.brewing.even_brew import EVEN_INFUSIONS
from tastings.maths.curve.development import CurvePoint
from tastings.reports.marks import (
    BACKGROUND,
    INK,
    NARROW_BELOW_PX,
    TASTER_COLOURS,
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
from tastings.wording.numbers import one_decimal

LETTERS = "ABCDEF"
_DASHES = ("none", "9 4", "2 3.5", "9 3 2 3", "15 4", "5 2 2 2 2 2")
_MARK = 22  # width and height of a mark by itself [px]
_LABEL_PX = 15.0  # so far apart stand the letters at the end of the curves


def curves_chart(
    curves: Sequence[Sequence[CurvePoint]], *, names: Sequence[str], of: str, title: str = "", width: int = 720
) -> str:
    """Draw one curve per lot over the infusions of the even brew, each cup with its 80 % interval; return an SVG.

    Of up to six lots, an empty curve is named but not drawn. ``of`` says what the curves are of, ``title`` what the
    drawing is of when not of lots on the even brew. Below a ``width`` of 560 [px] the margins are those of a telephone.
    """
    narrow = width < NARROW_BELOW_PX
    height = 300.0 if narrow else 340.0
    infusions = max([EVEN_INFUSIONS, *(point.infusion for points in curves for point in points)])
    frame = Frame(left=34.0, right=width - 26.0, top=28.0, bottom=height - 44.0, infusions=infusions)
    lanes = [i for i, points in enumerate(curves) if points]
    drawn = [_curve(frame, curves[i], index=i, shift_px=_beside(frame, lanes.index(i), len(lanes))) for i in lanes]
    legend, legend_height = _legend(curves, names, width=width, top=height)
    return picture(
        rating_grid(frame, range(1, infusions + 1), scale=_("%(descriptor)s, 0 to 10") % {"descriptor": of}),
        *drawn,
        _letters(frame, {i: curves[i][-1] for i in lanes}),
        legend,
        width=width,
        height=height + legend_height,
        title=title
        or _("%(descriptor)s of %(n)s lots over the infusions of the even brew") % {"descriptor": of, "n": len(names)},
        desc=_in_words(curves, names),
    )


def lot_mark(index: int) -> str:
    """Draw a lot's mark by itself, for a heading or a table. [px]."""
    return tag(
        "svg",
        taster_mark(index, x=_MARK / 2, y=_MARK / 2, size=_MARK / 4),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {_MARK} {_MARK}",
        width=_MARK,
        height=_MARK,
        aria_hidden="true",
    )


def _beside(frame: Frame, lane: int, lanes: int) -> float:
    """Return how far beside the middle of its place a lot's cups stand, so that intervals do not hide each other."""
    return 0.5 * (frame.x(2) - frame.x(1)) * ((lane + 0.5) / lanes - 0.5)


def _curve(frame: Frame, points: Sequence[CurvePoint], *, index: int, shift_px: float) -> str:
    colour = TASTER_COLOURS[index % len(TASTER_COLOURS)]
    places = [(frame.x(p.infusion) + shift_px, frame.y(p.mean)) for p in points]
    spans = "".join(
        tag("line", x1=x, x2=x, y1=frame.y(p.high), y2=frame.y(p.low), stroke=colour, stroke_width=1.2)
        for p, (x, _y) in zip(points, places, strict=True)
    )
    path = " ".join(f"{number(x)},{number(y)}" for x, y in places)
    line = tag(
        "polyline", points=path, fill="none", stroke=colour, stroke_width=1.8, stroke_dasharray=_DASHES[index % 6],
        stroke_linejoin="round",
    )  # fmt: skip
    return spans + line + "".join(taster_mark(index, x=x, y=y, size=3.4) for x, y in places)


def _letters(frame: Frame, last: Mapping[int, CurvePoint]) -> str:
    """Write each lot's letter at the end of its curve, none over another."""
    ends = sorted((frame.y(point.mean), index) for index, point in last.items())
    heights: list[float] = []
    for y, _index in ends:
        heights.append(max(y, heights[-1] + _LABEL_PX) if heights else y)
    over = heights[-1] - frame.bottom if heights else 0.0
    if over > 0:  # pushed together from below
        floor = frame.bottom + _LABEL_PX
        for i in range(len(heights) - 1, -1, -1):
            heights[i] = floor = min(heights[i], floor - _LABEL_PX)
    return "".join(
        words(
            LETTERS[index], x=frame.right + 13, y=y + 5, font_size=14, font_weight=700, text_anchor="middle",
            fill=TASTER_COLOURS[index % len(TASTER_COLOURS)],
        )
        for y, (_y, index) in zip(heights, ends, strict=True)
    )  # fmt: skip


def _legend(curves: Sequence[Sequence[object]], names: Sequence[str], *, width: float, top: float) -> tuple[str, float]:
    """Write which curve is whose, one line each; returns the drawing and its height. [px]."""
    parts = []
    for index, (points, name) in enumerate(zip(curves, names, strict=True)):
        y = top + 14 + 22 * index
        colour = TASTER_COLOURS[index % len(TASTER_COLOURS)]
        line = tag(
            "line", x1=8.0, x2=46.0, y1=y - 4.5, y2=y - 4.5, stroke=colour, stroke_width=1.8,
            stroke_dasharray=_DASHES[index % 6],
        )  # fmt: skip
        not_rated = _("not rated")
        unrated = "" if points else f" ({not_rated})"
        shown = shortened(name, size=13, room=width - 84.0 - text_width(unrated, size=13)) + unrated
        parts += [
            line if points else "",
            tag("rect", x=20.0, y=y - 12, width=14.0, height=15.0, fill=BACKGROUND) if points else "",
            taster_mark(index, x=27.0, y=y - 4.5) if points else "",
            words(LETTERS[index], x=56.0, y=y, font_size=14, font_weight=700, fill=INK),
            tag("g", named("title", name), words(shown, x=74.0, y=y, font_size=13)),
        ]
    return "".join(parts), 22.0 * len(names) + 4


def _in_words(curves: Sequence[Sequence[CurvePoint]], names: Sequence[str]) -> str:
    cups = [
        f"{LETTERS[i]}, {name}: "
        + (", ".join(one_decimal(point.mean) for point in points) if points else _("not rated"))
        for i, (points, name) in enumerate(zip(curves, names, strict=True))
    ]
    return _("Mean cup by cup. %(cups)s.") % {"cups": "; ".join(cups)}
