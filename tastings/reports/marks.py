"""The pieces that the drawings are put together from: escaped text, elements and taster marks.

Everything is written with presentation attributes, so that a drawing looks the same inside the page, under a
strict content security policy, and as a file of its own.
"""

import math
import unicodedata
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from xml.sax.saxutils import escape, quoteattr

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

DESK_PX, PHONE_PX = 720, 350  # width of the drawings: a page of paper or a desk, a telephone
NARROW_BELOW_PX = 560  # below this width the drawings change their arrangement, not their type size
SCALE_TOP = 10.0  # of the ratings [points]
INK = "#2b2420"
SOFT_INK = "#5f5349"
GRID = "#d9ccba"
CURVE = "#8a3b12"
BAND = "#ecd2b6"
BAR = "#dfc09b"
BACKGROUND = "#fffdf9"
FONT = "system-ui, -apple-system, 'Segoe UI', 'Noto Sans', sans-serif"
# Dark enough on paper (contrast above 4.5) and apart in lightness or blue-yellow for the common colour deficiencies;
# the shape tells tasters apart even without them.
TASTER_COLOURS = ("#0b4f8a", "#2b2420", "#00664f", "#7a2e6b", "#6b5600")
SHAPES = ("circle", "square", "triangle", "diamond", "cross", "plus", "wedge", "hourglass")


def clean(value: object) -> str:
    """Return the value as text without the characters that XML 1.0 forbids."""
    return "".join(
        c
        for c in str(value)
        if c in "\t\n\r" or (c >= " " and c not in "\ufffe\uffff" and not "\ud800" <= c <= "\udfff")
    )


def number(value: float) -> str:
    """Write a coordinate with at most one decimal. [px]."""
    return f"{value:.1f}".rstrip("0").rstrip(".") or "0"


def tag(element: str, *children: str, **attributes: object) -> str:
    """Write one element; attribute values are escaped, children are taken as markup.

    Underscores in attribute names become hyphens, floats are rounded to a tenth of a pixel.
    """
    written = "".join(
        f" {name.strip('_').replace('_', '-')}={quoteattr(number(value) if isinstance(value, float) else clean(value))}"
        for name, value in attributes.items()
    )
    return f"<{element}{written}>{''.join(children)}</{element}>"


def words(value: object, **attributes: object) -> str:
    """Write a text element with escaped text."""
    return tag("text", escape(clean(value)), **attributes)


def named(element: str, value: object) -> str:
    """Write a ``title`` or ``desc`` element with escaped text."""
    return tag(element, escape(clean(value)))


def picture(*children: str, width: float, height: float, title: str, desc: str) -> str:
    """Wrap the children in a stand-alone, scalable drawing with a text alternative. [px]."""
    return tag(
        "svg",
        named("title", title),
        named("desc", desc),
        *children,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {number(width)} {number(height)}",
        width=number(width),
        height=number(height),
        role="img",
        font_family=FONT,
        fill=INK,
    )


@dataclass(frozen=True, slots=True)
class Frame:
    """Where infusions and points lie on the paper. [px]."""

    left: float
    right: float
    top: float
    bottom: float
    infusions: int

    def x(self, infusion: float) -> float:
        """Return the middle of an infusion's place."""
        return self.left + (infusion - 0.5) * (self.right - self.left) / self.infusions

    def y(self, points: float) -> float:
        """Return the height of a rating; one outside 0 to 10 is drawn at the edge."""
        inside = min(max(points, 0.0), SCALE_TOP)
        return self.bottom - inside * (self.bottom - self.top) / SCALE_TOP


def rating_grid(frame: Frame, infusions: Iterable[int], *, scale: str) -> str:
    """Draw lines at every second point and write the numbers of the infusions; ``scale`` is what the points are of."""
    lines = []
    for points in (0, 2, 4, 6, 8, 10):
        y = frame.y(points)
        lines.append(tag("line", x1=frame.left, x2=frame.right, y1=y, y2=y, stroke=GRID, stroke_width=1))
        lines.append(words(points, x=frame.left - 7, y=y + 4.5, font_size=13, text_anchor="end", fill=SOFT_INK))
    for infusion in infusions:
        x = frame.x(infusion)
        lines.append(words(infusion, x=x, y=frame.bottom + 17, font_size=13, text_anchor="middle", fill=SOFT_INK))
    middle = (frame.left + frame.right) / 2
    lines.append(words(_("infusion"), x=middle, y=frame.bottom + 35, font_size=13, text_anchor="middle", fill=SOFT_INK))
    lines.append(words(scale, x=4.0, y=14.0, font_size=13, fill=SOFT_INK))
    return "".join(lines)


def text_width(value: str, *, size: float) -> float:
    """Estimate how wide text will be, generously, since the font is the reader's. [px]."""
    ems = 0.0
    for character in value:
        if unicodedata.combining(character) or unicodedata.category(character) == "Cf":
            continue
        ems += 1.05 if unicodedata.east_asian_width(character) in "WF" else 0.58
    return ems * size


def shortened(value: object, *, size: float, room: float) -> str:
    """Cut text with an ellipsis so that it fits into the room. [px]."""
    text = " ".join(clean(value).split())
    if text_width(text, size=size) <= room:
        return text
    while text and text_width(text + "…", size=size) > room:
        text = text[:-1]
    return text.rstrip() + "…"


def taster_mark(index: int, *, x: float, y: float, size: float = 4.5) -> str:
    """Draw the mark of taster number ``index``; the first 80 tasters differ in shape, filling or colour. [px]."""
    shape = SHAPES[index % 8]
    colour = TASTER_COLOURS[(index + index // 16) % 5]
    filled = (index // 8) % 2 == 0
    look = {"fill": colour if filled else BACKGROUND, "stroke": colour, "stroke_width": 1.6}
    if shape == "circle":
        return tag("circle", cx=x, cy=y, r=size, **look)
    if shape in {"cross", "plus"}:
        reach = size * (1.0 if shape == "plus" else 0.8)
        turn = 0.0 if shape == "plus" else math.pi / 4
        arms = [(turn + quarter * math.pi / 2) for quarter in range(4)]
        ends = [(x + reach * 1.25 * math.cos(a), y + reach * 1.25 * math.sin(a)) for a in arms]
        path = f"M{number(ends[0][0])} {number(ends[0][1])}L{number(ends[2][0])} {number(ends[2][1])}"
        path += f"M{number(ends[1][0])} {number(ends[1][1])}L{number(ends[3][0])} {number(ends[3][1])}"
        return tag("path", d=path, fill="none", stroke=colour, stroke_width=2.4 if filled else 1.2)
    corners = {
        "square": ((-1, -1), (1, -1), (1, 1), (-1, 1)),
        "triangle": ((0, -1.2), (1.15, 0.95), (-1.15, 0.95)),
        "diamond": ((0, -1.35), (1.35, 0), (0, 1.35), (-1.35, 0)),
        "wedge": ((0, 1.2), (1.15, -0.95), (-1.15, -0.95)),
        "hourglass": ((-1, -1), (1, -1), (-1, 1), (1, 1)),
    }[shape]
    points = " ".join(f"{number(x + size * dx)},{number(y + size * dy)}" for dx, dy in corners)
    return tag("polygon", points=points, stroke_linejoin="round", **look)


@dataclass(frozen=True, slots=True)
class Drawing:
    """A drawing for the desk and one for the telephone."""

    wide: SafeString
    narrow: SafeString


def both_widths(draw: Callable[[int], str]) -> Drawing:
    """Draw for the desk and for the telephone. The drawings escape every text themselves, so the template need not."""
    return Drawing(wide=SafeString(draw(DESK_PX)), narrow=SafeString(draw(PHONE_PX)))
