"""The study's drawings, with the pieces of the report's: lines over a grid, as SVG text."""

from collections.abc import Sequence
from dataclasses import dataclass

from tastings.reports.marks import BACKGROUND, BAND, GRID, INK, SOFT_INK, picture, tag, taster_mark, words

WIDTH, HEIGHT = 560.0, 340.0
LEFT, RIGHT, TOP, BOTTOM = 64.0, 545.0, 40.0, 268.0
COLOURS = ("#0b4f8a", "#2b2420", "#00664f", "#7a2e6b", "#6b5600")  # of the marks of tasters 0, 1, 2 ...


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a drawing: its name and its points."""

    name: str
    points: Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Axis:
    """What an axis is called, where it is marked, and how a mark is written."""

    name: str
    marks: Sequence[float]
    form: str = "{:g}"


def drawing(
    lines: Sequence[Line],
    *,
    x: Axis,
    y: Axis,
    title: str,
    band: tuple[float, float] | None = None,
    diagonal: bool = False,
) -> str:
    """Draw lines over a grid.

    Parameters
    ----------
    lines : Sequence[Line]
        At most five.
    x, y : Axis
        Their first and last mark end the drawing.
    title : str
        What is shown; the figures follow in words for those who cannot see it.
    band : tuple[float, float], optional
        What is wanted on the y axis, shaded.
    diagonal : bool
        Draw y = x, where the stated equals the true value.

    Returns
    -------
    str
        A stand-alone SVG file.
    """

    def at(place: tuple[float, float]) -> tuple[float, float]:
        right, up = (
            (value - axis.marks[0]) / (axis.marks[-1] - axis.marks[0])
            for value, axis in zip(place, (x, y), strict=True)
        )
        return LEFT + right * (RIGHT - LEFT), BOTTOM - up * (BOTTOM - TOP)

    parts = [tag("rect", width=WIDTH, height=HEIGHT, fill=BACKGROUND), words(title, x=LEFT, y=22.0, font_size=14)]
    if band:
        (_, low), (_, high) = at((x.marks[0], band[0])), at((x.marks[0], band[1]))
        parts.append(tag("rect", x=LEFT, y=high, width=RIGHT - LEFT, height=low - high, fill=BAND))
    for mark in y.marks:
        _, height = at((x.marks[0], mark))
        parts.append(tag("line", x1=LEFT, x2=RIGHT, y1=height, y2=height, stroke=GRID))
        parts.append(words(y.form.format(mark), x=LEFT - 8, y=height + 4, text_anchor="end", font_size=12))
    for mark in x.marks:
        place, _ = at((mark, y.marks[0]))
        parts.append(words(x.form.format(mark), x=place, y=BOTTOM + 18, text_anchor="middle", font_size=12))
    middle = (TOP + BOTTOM) / 2
    parts.append(words(x.name, x=(LEFT + RIGHT) / 2, y=BOTTOM + 36, text_anchor="middle", font_size=12, fill=SOFT_INK))
    turned = {"transform": f"rotate(-90 16 {middle:g})", "text_anchor": "middle"}
    parts.append(words(y.name, x=16.0, y=middle, font_size=12, fill=SOFT_INK, **turned))
    if diagonal:
        parts.append(_path([at((x.marks[0], y.marks[0])), at((x.marks[-1], y.marks[-1]))], stroke=INK, dashed=True))
    for index, line in enumerate(lines):
        points = [at(point) for point in line.points]
        parts.append(_path(points, stroke=COLOURS[index], dashed=False))
        parts += [taster_mark(index, x=right, y=down) for right, down in points]
        left = LEFT + index * (RIGHT - LEFT) / max(len(lines), 1)
        parts.append(taster_mark(index, x=left + 5, y=HEIGHT - 16))
        parts.append(words(line.name, x=left + 15, y=HEIGHT - 12, font_size=12))
    description = "; ".join(f"{own.name}: " + ", ".join(f"{px:.3g} {py:.3g}" for px, py in own.points) for own in lines)
    return picture(*parts, width=WIDTH, height=HEIGHT, title=title, desc=f"{x.name} and {y.name}. {description}") + "\n"


def _path(points: Sequence[tuple[float, float]], *, stroke: str, dashed: bool) -> str:
    coordinates = " ".join(f"{right:.1f},{down:.1f}" for right, down in points)
    return tag(
        "polyline",
        points=coordinates,
        fill="none",
        stroke=stroke,
        stroke_width=1.8,
        stroke_dasharray="4 4" if dashed else "none",
    )
