"""Readiness after roasting: how the roast note fades with the days, and when it is expected under a chosen level.

The curve over the days is :mod:`tastings.maths.roast.fading`; the day under the level is read off every node of its
grid, so that the date has an interval and may also be never. "Cannot tell" is an answer.

In 1,000 simulated lots (``python -m benchmarks.calibration``: two to five tastings by up to three tasters within one
to six months, half-life 15 to 150 days, leaf that the estimator does not assume) the 80 % interval held the day in 88
% of those that cross the level, and ended with no date for 92 % of those that never do. Of those called ready 94 %
were under it, of those called resting 3 %, of the 317 left open 46 %. Of those with
probability 0.4 to 0.6 (0.6 to 0.8, 0.8 to 0.95), 48 (71, 83) % were ready.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil
from typing import Literal

import numpy as np

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import Brew, TasterScale, validated_brews
from tastings.maths.brewing.even_brew import BOILING, EvenBrew
from tastings.maths.brewing.extraction import default_grid
from tastings.maths.comparison.side_by_side import LIKING
from tastings.maths.curve.evidence import LeftOut, prepare_sessions
from tastings.maths.curve.profile import TAIL, weighted_quantile
from tastings.maths.roast.fading import LEAST_SPAN_DAYS, Fade, Trend, Value, fit_fade, trend, values_of

Verdict = Literal["ready", "resting", "cannot_tell"]
Basis = Literal["not_rated", "one_week_short", "probability"]
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
class NextTasting:
    """What further tasting would settle whether a roast has rested.

    Parameters
    ----------
    code : str
        ``first``: rate it, and again a week later. ``none``: it is settled. ``little``: no single tasting within two
        months would settle much. ``useful``: one is expected to narrow the interval of the date.
    ahead_days : int or None
        In how many days the most useful tasting is.
    on : date or None
        That day.
    width_days, expected_width_days : float or None
        Width of the 80 % interval of the date now, and to expect after that tasting. [days]
    """

    code: Literal["first", "none", "little", "useful"]
    ahead_days: int | None = None
    on: date | None = None
    width_days: float | None = None
    expected_width_days: float | None = None


@dataclass(frozen=True, slots=True)
class Readiness:
    """Whether a roasted tea has rested enough for a team's taste.

    Parameters
    ----------
    verdict : str
        ``ready``, ``resting`` or ``cannot_tell``.
    basis : str
        ``not_rated`` since the roast; ``one_week_short``: not rated on two days a week apart; else ``probability``.
    attribute : str
        Key of the roast descriptor.
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
        The roast of each session.
    liking : Trend or None
        None unless liking was rated on days at least a week apart.
    next : NextTasting
        What further tasting, and when, would settle it.
    left_out : tuple[LeftOut, ...]
        Sessions not used, and why.
    """

    verdict: Verdict
    basis: Basis
    attribute: str
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
    next: NextTasting
    left_out: tuple[LeftOut, ...]


@dataclass(frozen=True, slots=True)
class _Question:
    """The level asked about, and today as a date and in days since the roast."""

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
    even_brew: EvenBrew = BOILING,
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
    even_brew : EvenBrew, optional
        What the sessions are evened out to; that of oolong when left out.
    scales : Mapping, optional
        As in :func:`tastings.maths.curve.estimate.estimate_development`.

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
    grid = default_grid()
    day_of = {one.brew.session: float((one.day - roasted_on).days) for one in sessions}
    fresh = [one.brew for one in sessions if one.day >= roasted_on]
    followed, left_out = prepare_sessions(validated_brews(fresh), grid=grid, scales=scales or {})
    early = tuple(
        LeftOut(one.brew.session, None, "before_roast")
        for one in sorted(sessions, key=lambda one: one.brew.session)
        if one.day < roasted_on
    )
    values = values_of(followed, key=key, day_of=day_of, even_brew=even_brew, grid=grid)
    fade = fit_fade(values)
    question = _Question(level=level, today=today, day=max(float((today - roasted_on).days), 0.0))
    under = fade.under(level)
    low, middle, high = fade.quantiles(under)
    probability = float(fade.weights[under <= question.day].sum())
    days = sorted({one.day for one in values})
    verdict, basis = _verdict(days=days, probability=probability, narrow=high - low <= NARROW_DAYS)
    # Before the pace of fading was seen, a date would be the prior's guess.
    horizon = question.day + HORIZON_DAYS if days and days[-1] - days[0] >= LEAST_SPAN_DAYS else -1.0
    shown = np.linspace(0, max([question.day, *days]) + 60, 13).round() if days else ()
    return Readiness(
        verdict=verdict,
        basis=basis,
        attribute=key,
        level=level,
        roasted_on=roasted_on,
        probability=probability if days else None,
        expected_on=day_on(roasted_on, middle, horizon=horizon),
        low_on=day_on(roasted_on, low, horizon=horizon),
        high_on=day_on(roasted_on, high, horizon=horizon),
        today=_point(fade, day=question.day) if days else None,
        curve=tuple(_point(fade, day=float(day)) for day in shown),
        values=values,
        liking=trend(values_of(followed, key=LIKING, day_of=day_of, even_brew=even_brew, grid=grid)),
        next=_next(fade, values, question=question, verdict=verdict),
        left_out=(*early, *left_out),
    )


def _verdict(*, days: Sequence[float], probability: float, narrow: bool) -> tuple[Verdict, Basis]:
    if not days:
        return "cannot_tell", "not_rated"
    if days[-1] - days[0] < LEAST_SPAN_DAYS:
        return "cannot_tell", "one_week_short"
    if probability >= SURE or (narrow and probability >= 0.5):
        return "ready", "probability"
    if probability <= 1 - SURE or narrow:
        return "resting", "probability"
    return "cannot_tell", "probability"


def _next(fade: Fade, values: Sequence[Value], *, question: _Question, verdict: Verdict) -> NextTasting:
    """Find the day, of some within two months, on which one more tasting narrows the interval of the date most."""
    if not values:
        return NextTasting("first")
    if verdict == "ready":
        return NextTasting("none")
    days = [one.day for one in values]
    first, spread_yet = min(days), max(days) - min(days) >= LEAST_SPAN_DAYS
    under = np.minimum(fade.under(question.level), question.day + HORIZON_DAYS)
    variance = float(np.median([one.variance for one in values])) + fade.noise**2
    now = _width(under, weights=fade.weights)
    candidates = [
        (_expected_width(fade, under=under, day=question.day + ahead, variance=variance), ahead)
        for ahead in NEXT_DAYS
        if spread_yet or question.day + ahead - first >= LEAST_SPAN_DAYS
    ]
    narrowest, ahead = min(candidates)
    return NextTasting(
        "little" if narrowest > (1 - LEAST_GAIN) * now else "useful",
        ahead_days=ahead,
        on=question.today + timedelta(days=ahead),
        width_days=now,
        expected_width_days=narrowest,
    )


def _expected_width(fade: Fade, *, under: FloatArray, day: float, variance: float) -> float:
    """Return the width of the interval of the date to expect after a new taster tastes on a day [days]."""
    value = fade.at(day)
    usual = TasterScale()
    spread = variance + usual.offset_sd**2 + (usual.gain_sd * value) ** 2
    widths = []
    for part in (0.1, 0.3, 0.5, 0.7, 0.9):
        rating = weighted_quantile(value, weights=fade.weights, level=part)
        weights = fade.weights * np.exp(-0.5 * (rating - value) ** 2 / spread) / np.sqrt(spread)
        widths.append(_width(under, weights=weights))
    return float(np.mean(widths))


def _width(under: FloatArray, *, weights: FloatArray) -> float:
    low, high = (weighted_quantile(under, weights=weights, level=part) for part in (TAIL, 1 - TAIL))
    return high - low


def _point(fade: Fade, *, day: float) -> RoastPoint:
    value = fade.at(day)
    low, _, high = fade.quantiles(value)
    return RoastPoint(day=round(day), mean=float(fade.weights @ value), low=low, high=high)


def day_on(roasted_on: date, day: float, *, horizon: float = np.inf) -> date | None:
    """Return the date so many days after the roast, rounded up; None beyond the horizon."""
    return roasted_on + timedelta(days=ceil(day)) if day <= horizon and np.isfinite(day) else None
