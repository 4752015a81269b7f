"""Readiness after roasting: how the roast note fades with the days, when it is expected under a chosen level.

The curve over the days is :mod:`tastings.maths.roast.fading`; the day under the level is read off every node of its
grid, so that the date has an interval and may also be never. "Cannot tell" is an answer.

In 1,000 simulated lots (``python -m benchmarks.calibration``: two to five tastings by up to three tasters within one
to six months, half-life 15 to 150 days, leaf that the estimator does not assume) the 80 % interval held the day in 88
% of those that cross the level, and ended with no date for 92 % of those that never do. Of those called ready 94 %
were under it, of those called resting 3 %, of the 317 left open 46 %. Told with 0.4 to 0.6 (0.6 to 0.8, 0.8 to 0.95)
probability, 48 (71, 83) % were.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil

import numpy as np

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import Brew, TasterScale, checked
from tastings.maths.brewing.extraction import usual_grid
from tastings.maths.comparison.side_by_side import LIKING
from tastings.maths.curve.development import plain
from tastings.maths.curve.evidence import LeftOut, follow
from tastings.maths.curve.profile import TAIL, weighted_quantile
from tastings.maths.curve.steep_count import LEVEL
from tastings.maths.roast.fading import LEAST_SPAN_DAYS, Fade, Trend, Value, fit_fade, trend, values_of

READY, RESTING, CANNOT_TELL = "ready", "resting", "cannot_tell"
SURE = 0.8
NARROW_DAYS = 14
HORIZON_DAYS = 730  # dates further on than this from today are beyond what the data can say
NEXT_DAYS = (0, 7, 14, 30, 60)
LEAST_GAIN = 0.1


class ReadinessError(ValueError):
    """A level outside 0 to 10."""


@dataclass(frozen=True, slots=True)
class DatedBrew:
    """A session and the day it was tasted."""

    day: date
    brew: Brew


@dataclass(frozen=True, slots=True)
class RoastPoint:
    """The roast so many days after roasting, with its central 80 %. [points, 0 to 10]."""

    day: int
    mean: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Readiness:
    """Whether a roasted tea has rested enough for a team's taste.

    Parameters
    ----------
    verdict : str
        ``ready``, ``resting`` or ``cannot_tell``.
    reason : str
        Why, in a sentence.
    level : float
        The roast the team wants it under. [points]
    probability : float or None
        That it is under the level today; None when nothing was tasted.
    expected_on, low_on, high_on : date or None
        Median and central 80 % of the day it falls under the level; None when later than two years from today, and
        before two tasting days a week apart have shown how fast it fades.
    today : RoastPoint or None
        The roast today; None when nothing was tasted.
    curve : tuple[RoastPoint, ...]
        From the day of roasting to two months after today or the last tasting; empty when nothing was tasted.
    values : tuple[Value, ...]
        What each session says.
    liking : Trend or None
        None unless liking was rated on days at least a week apart.
    next : str
        What further tasting, and when, would settle it.
    left_out : tuple[LeftOut, ...]
        Sessions not used, and why.
    """

    verdict: str
    reason: str
    level: float
    roasted_on: date
    probability: float | None
    expected_on: date | None
    low_on: date | None
    high_on: date | None
    today: RoastPoint | None
    curve: tuple[RoastPoint, ...]
    values: tuple[Value, ...]
    liking: Trend | None
    next: str
    left_out: tuple[LeftOut, ...]

    def as_json(self) -> dict[str, object]:
        """Return the figures in plain types: dates as ISO 8601, numbers rounded to 3 decimals."""
        return {
            "verdict": self.verdict,
            "reason": self.reason,
            "level": plain(self.level),
            "roasted_on": self.roasted_on.isoformat(),
            "probability": None if self.probability is None else plain(self.probability),
            "expected": {
                "date": _iso(self.expected_on),
                "low": _iso(self.low_on),
                "high": _iso(self.high_on),
                "level": LEVEL,
            },
            "today": None if self.today is None else self._point(self.today),
            "curve": [self._point(point) for point in self.curve],
            "tastings": [
                {
                    "session": one.session,
                    "day": round(one.day),
                    "date": _iso(_on(self.roasted_on, one.day)),
                    "mean": plain(one.mean),
                    "sd": plain(one.variance**0.5),
                }
                for one in self.values
            ],
            "liking": None
            if self.liking is None
            else {
                "per_30_days": plain(self.liking.per_30_days),
                "low": plain(self.liking.low),
                "high": plain(self.liking.high),
                "probability_rising": plain(self.liking.probability_rising),
            },
            "next": self.next,
            "left_out": [{"session": one.session, "reason": one.reason} for one in self.left_out],
        }

    def _point(self, point: RoastPoint) -> dict[str, object]:
        return {
            "day": point.day,
            "date": _iso(_on(self.roasted_on, point.day)),
            "mean": plain(point.mean),
            "low": plain(point.low),
            "high": plain(point.high),
        }


@dataclass(frozen=True, slots=True)
class _Asked:
    """The question: an attribute's name in words, the level, and today as a date and in days since the roast."""

    name: str
    level: float
    today: date
    day: float


def readiness(  # noqa: PLR0913 - each is one of the question's own words
    sessions: Sequence[DatedBrew],
    *,
    roasted_on: date,
    today: date,
    level: float,
    key: str = "roast",
    scales: Mapping[str, Mapping[str, TasterScale]] | None = None,
) -> Readiness:
    """Say whether a lot has rested enough after roasting, and when it is expected to.

    Parameters
    ----------
    sessions : Sequence[DatedBrew]
        The lot's sessions, in any order; those before ``roasted_on`` belong to an earlier roast and are left out.
    roasted_on, today : date
        When it was roasted, and the day to speak of.
    level : float
        The roast the team wants it under. [points, 0 to 10]
    key : str
        Key of the roast descriptor.
    scales : Mapping, optional
        As in :func:`tastings.maths.curve.estimate.develop`.

    Returns
    -------
    Readiness
        ``ready`` when it is under the level today with probability 0.8 or more, ``resting`` when with 0.2 or less;
        between these only if the day is known to within two weeks. ``cannot_tell`` otherwise, and always when the
        roast was not rated on two days at least a week apart.

    Raises
    ------
    ReadinessError
        A level outside 0 to 10.
    BrewError
        A number in a brew cannot be one.
    """
    if not 0 <= level <= 10:
        raise ReadinessError(f"a level runs from 0 to 10, got {level}")
    grid = usual_grid()
    day_of = {one.brew.session: float((one.day - roasted_on).days) for one in sessions}
    fresh = [one.brew for one in sessions if one.day >= roasted_on]
    followed, left_out = follow(checked(fresh), grid=grid, scales=scales or {})
    early = tuple(
        LeftOut(session=one.brew.session, infusion=None, reason="tasted before the roast")
        for one in sorted(sessions, key=lambda one: one.brew.session)
        if one.day < roasted_on
    )
    values = values_of(followed, key=key, day_of=day_of, grid=grid)
    fade = fit_fade(values)
    asked = _Asked(name=key.replace("_", " "), level=level, today=today, day=max(float((today - roasted_on).days), 0.0))
    under = fade.under(level)
    low, middle, high = fade.quantiles(under)
    probability = float(fade.weights[under <= asked.day].sum())
    days = sorted({one.day for one in values})
    verdict, reason = _verdict(asked, days=days, probability=probability, narrow=high - low <= NARROW_DAYS)
    # What is told before the pace was seen would be the prior's guess.
    horizon = asked.day + HORIZON_DAYS if days and days[-1] - days[0] >= LEAST_SPAN_DAYS else -1.0
    shown = np.linspace(0, max([asked.day, *days]) + 60, 13).round() if days else ()
    return Readiness(
        verdict=verdict,
        reason=reason,
        level=level,
        roasted_on=roasted_on,
        probability=probability if days else None,
        expected_on=_on(roasted_on, middle, horizon=horizon),
        low_on=_on(roasted_on, low, horizon=horizon),
        high_on=_on(roasted_on, high, horizon=horizon),
        today=_point(fade, day=asked.day) if days else None,
        curve=tuple(_point(fade, day=float(day)) for day in shown),
        values=values,
        liking=trend(values_of(followed, key=LIKING, day_of=day_of, grid=grid)),
        next=_next(fade, values, asked=asked, verdict=verdict),
        left_out=(*early, *left_out),
    )


def _verdict(asked: _Asked, *, days: Sequence[float], probability: float, narrow: bool) -> tuple[str, str]:
    if not days:
        return CANNOT_TELL, f"Cannot tell: the {asked.name} has not been rated since the roast."
    if days[-1] - days[0] < LEAST_SPAN_DAYS:
        return CANNOT_TELL, (
            f"Cannot tell: the {asked.name} was not rated on two days at least a week apart, so how fast it fades is"
            " not seen."
        )
    told = f"with {_percent(probability)} probability the {asked.name} is under {asked.level:g} today"
    if probability >= SURE or (narrow and probability >= 0.5):
        return READY, f"Ready: {told}."
    if probability <= 1 - SURE or narrow:
        return RESTING, f"Still resting: {told}."
    return CANNOT_TELL, f"Cannot tell: {told}, and the day is not known to within two weeks."


def _next(fade: Fade, values: Sequence[Value], *, asked: _Asked, verdict: str) -> str:
    """Name the day, of some within two months, on which one more tasting narrows the interval of the date most."""
    if not values:
        return (
            f"Taste it and rate the {asked.name} of every infusion; a second tasting at least a week later shows how"
            " fast it fades."
        )
    if verdict == READY:
        return "No further tasting is needed to settle this; taste again if it is stored for long."
    days = [one.day for one in values]
    first, spread_yet = min(days), max(days) - min(days) >= LEAST_SPAN_DAYS
    under = np.minimum(fade.under(asked.level), asked.day + HORIZON_DAYS)
    variance = float(np.median([one.variance for one in values])) + fade.noise**2
    now = _width(under, weights=fade.weights)
    candidates = [
        (_expected_width(fade, under=under, day=asked.day + ahead, variance=variance), ahead)
        for ahead in NEXT_DAYS
        if spread_yet or asked.day + ahead - first >= LEAST_SPAN_DAYS
    ]
    narrowest, ahead = min(candidates)
    when = "today" if ahead == 0 else f"about {_words(asked.today + timedelta(days=ahead))}, in {ahead} days"
    if narrowest > (1 - LEAST_GAIN) * now:
        return f"No single tasting within two months would settle much; the most useful day is {when}."
    return (
        f"Taste it again {when}, best with another taster: that is expected to narrow the 80 % interval of the date"
        f" from {now:.0f} to about {narrowest:.0f} days, dates beyond two years counted as two years."
    )


def _expected_width(fade: Fade, *, under: FloatArray, day: float, variance: float) -> float:
    """Return the width of the interval of the date to expect after a taster not heard before tastes on a day [days]."""
    value = fade.at(day)
    usual = TasterScale()
    spread = variance + usual.offset_sd**2 + (usual.gain_sd * value) ** 2
    widths = []
    for part in (0.1, 0.3, 0.5, 0.7, 0.9):
        said = weighted_quantile(value, weights=fade.weights, level=part)
        weights = fade.weights * np.exp(-0.5 * (said - value) ** 2 / spread) / np.sqrt(spread)
        widths.append(_width(under, weights=weights))
    return float(np.mean(widths))


def _width(under: FloatArray, *, weights: FloatArray) -> float:
    low, high = (weighted_quantile(under, weights=weights, level=part) for part in (TAIL, 1 - TAIL))
    return high - low


def _point(fade: Fade, *, day: float) -> RoastPoint:
    value = fade.at(day)
    low, _, high = fade.quantiles(value)
    return RoastPoint(day=round(day), mean=float(fade.weights @ value), low=low, high=high)


def _on(roasted_on: date, day: float, *, horizon: float = np.inf) -> date | None:
    return roasted_on + timedelta(days=ceil(day)) if day <= horizon and np.isfinite(day) else None


def _iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def _words(day: date) -> str:
    return f"{day.day} {day:%B %Y}"


def _percent(probability: float) -> str:
    if not 0.01 <= probability <= 0.99:
        return "more than 99 %" if probability > 0.5 else "less than 1 %"
    return f"{probability * 100:.0f} %"
