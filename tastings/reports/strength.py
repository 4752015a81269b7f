"""What the drawing of strength shows on page and paper: its cups, which of them are a forecast, and where words fit."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor

from django.utils.translation import gettext as _

from tastings.maths.brewing.even_brew import EVEN_INFUSIONS
from tastings.maths.curve.development import CurvePoint, Development
from tastings.maths.curve.steep_count import Steeps
from tastings.maths.curve.tasted import TastedPoint

_WORDS_POINTS = 1.0
"""How high the words beside a line are. [points]"""
_GAP = 0.15
"""Room that a label leaves to the edges and to the mark of the count. [infusions]"""


def strength_points(figures: Development) -> tuple[CurvePoint, ...]:
    """Return the cups of the curve, on to the upper end of the count's range."""
    return (*figures.curve_of("strength"), *figures.strength_beyond)


def infusions_shown(points: Sequence[CurvePoint], ratings: Sequence[TastedPoint], *, steeps: Steeps) -> int:
    """Return how many infusions a drawing needs to show the curve, the ratings and the count with its range."""
    counts = (steeps.recommended or 0, steeps.high or 0)
    ends = (*(point.infusion for point in points), *(rating.infusion for rating in ratings))
    return max(EVEN_INFUSIONS, *counts, *ends)


def last_rated(points: Sequence[CurvePoint]) -> int:
    """Return the last infusion whose strength somebody rated; 0 where nobody did."""
    return max((point.infusion for point in points if point.n), default=0)


def forecast_words(points: Sequence[CurvePoint]) -> str:
    """Say up to which cup strength is rated; nothing where the curve ends there."""
    rated = last_rated(points)
    if not rated or rated >= points[-1].infusion:
        return ""
    return _("rated to cup %(number)s, the rest is a forecast") % {"number": rated}


@dataclass(frozen=True, slots=True)
class LinePlace:
    """Where the words at the finish line stand: from which infusion on, and whether above the line."""

    left: float
    is_above: bool


def finish_line_place(
    points: Sequence[CurvePoint], ratings: Sequence[TastedPoint], *, steeps: Steeps, infusions: int, words_width: float
) -> LinePlace:
    """Return the place at which neither curve, mark of the count nor a rating meets the words, if there is one.

    Parameters
    ----------
    points : Sequence[CurvePoint]
        The curve. [points, 0 to 10]
    ratings : Sequence[TastedPoint]
        What is drawn of single cups. [points, 0 to 10]
    steeps : Steeps
        The count, whose mark is a vertical line, and the finish line.
    infusions : int
        How many there are on the axis.
    words_width : float
        How wide the words are. [infusions]
    """
    line, mark = steeps.finish_line, steeps.recommended or None
    start, end = 0.5 + _GAP, infusions + 0.5 - _GAP - words_width
    lefts = [end, start]
    if mark:
        lefts += [left for left in (mark + _GAP, mark - _GAP - words_width) if start <= left <= end]

    def fitted(left: float) -> tuple[int, LinePlace]:
        right = left + words_width
        gaps = [point.mean - line for point in points if floor(left) <= point.infusion <= ceil(right)] or [1.0]
        is_above = sum(gaps) < 0
        low, high = (line, line + _WORDS_POINTS) if is_above else (line - _WORDS_POINTS, line)
        is_rated = any(left - 0.5 < r.infusion < right + 0.5 and low <= r.adjusted <= high for r in ratings)
        is_crossed = min(gaps) < 0 < max(gaps)
        is_marked = mark is not None and left < mark < right
        return 4 * is_crossed + 2 * is_marked + is_rated, LinePlace(left, is_above)

    return min(map(fitted, lefts), key=lambda faults_and_place: faults_and_place[0])[1]
