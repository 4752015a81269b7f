"""What is foretold of a tea of which only the first cups were rated, and how often such forecasts come true.

Course and count of a lot are those of its posterior, however few cups were rated; its bands widen beyond the last one.
How often both were right in simulated tastings that stop early is in ``docs/forecasts.md``; :data:`HIT_RATES` are its
rows of both worlds, which ``tests/maths/forecast/test_course.py`` compares.
"""

from dataclasses import dataclass

from tastings.maths.curve.development import Development
from tastings.maths.curve.estimate import STRENGTH
from tastings.maths.curve.profile import SLOW_FADE_INFUSION, UNDECIDED


@dataclass(frozen=True, slots=True)
class HitRates:
    """Share of simulated lots whose course was true where one was named, and whose 80 % interval held the count."""

    course_right: float
    count_covered: float


HIT_RATES = {
    (2, 1): HitRates(0.9, 0.85),
    (2, 3): HitRates(0.67, 0.81),
    (3, 1): HitRates(0.83, 0.86),
    (3, 3): HitRates(0.82, 0.84),
    (5, 1): HitRates(0.84, 0.85),
    (5, 3): HitRates(0.83, 0.85),
    (7, 1): HitRates(0.86, 0.87),
    (7, 3): HitRates(0.86, 0.92),
}
"""What was found, by last infusion rated and number of sessions."""
MANY_SESSIONS = 3


@dataclass(frozen=True, slots=True)
class CourseForecast:
    """A forecast of the whole from the cups up to ``rated_to``.

    The shares are those of :class:`HitRates`; ``course_right`` is None where no course is named.
    """

    rated_to: int
    course_right: float | None
    count_covered: float


def course_forecast(figures: Development) -> CourseForecast | None:
    """Return on how few cups course and count rest.

    None while no strength was rated, from the eighth cup on, where every course has shown itself, and where a cup was
    rated that lies beyond the interval of the count: then the leaf was seen spent, and nothing is foretold.

    Parameters
    ----------
    figures : Development
        The lot's figures.
    """
    rated_to = max((point.infusion for point in figures.curve_of(STRENGTH) if point.n), default=0)
    if not 0 < rated_to < SLOW_FADE_INFUSION:
        return None
    if figures.steeps.high is not None and rated_to > figures.steeps.high:
        return None
    least = min(cups for cups, _ in HIT_RATES)
    like = max(cups for cups, _ in HIT_RATES if cups <= max(rated_to, least))
    shares = HIT_RATES[like, MANY_SESSIONS if figures.evidence.sessions >= MANY_SESSIONS else 1]
    return CourseForecast(
        rated_to=rated_to,
        course_right=None if figures.profile.label == UNDECIDED else shares.course_right,
        count_covered=shares.count_covered,
    )
