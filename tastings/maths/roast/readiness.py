"""Readiness after roasting: the fire has stepped back, and the tea is liked as much as it is going to be.

The roast note over the days is :mod:`tastings.maths.roast.fading`; the day under the level is read off every node of
its grid, so that the date has an interval and may also be never. How long the tea wants to rest is
:mod:`tastings.maths.roast.rest`. A tea is ready when both are true; the two are taken as independent. "Cannot tell" is
an answer, and so is that waiting makes the tea worse.

How often all of that is true was measured on simulated lots whose roast falls and whose liking rises, and in some falls
again (``python -m benchmarks.calibration --only readiness``, ``docs/measured.md``).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil
from typing import Literal

import numpy as np

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import Brew, TasterScale, form_of, validated_brews
from tastings.maths.brewing.even_brew import BOILING, EvenBrew
from tastings.maths.brewing.extraction import default_grid
from tastings.maths.certainty import never_certain
from tastings.maths.comparison.side_by_side import LIKING
from tastings.maths.curve.evidence import LeftOut, prepare_sessions
from tastings.maths.curve.profile import TAIL, weighted_quantile
from tastings.maths.roast.fading import LEAST_SPAN_DAYS, NOISE, Fade, Trend, Value, fit_fade, trend, values_of
from tastings.maths.roast.rest import USUAL_REST_DAYS, Rest, fit_rest, usual_start

Verdict = Literal["ready", "resting", "cannot_tell"]
Basis = Literal["not_rated", "one_week_short", "usual_rest", "liking_falls", "levelled", "probability"]
ROAST = "roast"
"""Key of the roast descriptor."""
SURE = 0.8
NARROW_DAYS = 14
HORIZON_DAYS = 730  # dates further on than this from today are beyond what the data can say
WIDEST_DAYS = 365
"""Widest interval of the date with which a date is given."""
LEVELLED_DAYS, LEVELLED_POINTS = 180.0, 0.5
"""A roast that fades by less in so many days is not worth waiting for (own values)."""
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
class NextRoastTasting:
    """What further tasting would settle whether a roast has rested."""

    # `first`: rate it, and again a week later. `none`: it is settled. `little`: no single tasting within two
    # months would settle much. `useful`: one is expected to narrow the interval of the date.
    code: Literal["first", "none", "little", "useful"]
    ahead_days: int | None = None  # in how many days the most useful tasting is
    on: date | None = None
    # width_days, expected_width_days: width of the 80 % interval of the date now, and after that tasting
    width_days: float | None = None
    expected_width_days: float | None = None


@dataclass(frozen=True, slots=True)
class Readiness:
    """Whether a roasted tea has rested enough for a team's taste."""

    verdict: Verdict
    # `not_rated` since the roast; `one_week_short`: not rated on two days a week apart; `usual_rest`: nothing but
    # the usual rest of its degree is known yet; `liking_falls`: it is liked less the longer it waits; `levelled`:
    # near the level, where it hardly fades any more; else `probability`
    basis: Basis
    attribute: str  # key of the roast descriptor
    level: float  # the roast the team wants it under [points]
    degree: str  # degree of roast, empty when not known
    roasted_on: date
    asked_on: date
    # probability, under, rested: That it is ready today: under the level (`under`) and liked as much as it is going
    # to be (`rested`). None when nothing was tasted.
    probability: float | None
    under: float | None
    rested: float | None
    # probability that the roast fades by less than half a point in the next half year; None when nothing was tasted
    levelled: float | None
    # probability that liking falls noticeably once the tea has rested; None unless it was rated on two days a
    # week apart
    falling: float | None
    # expected_on, low_on, high_on: median and central 80 % of the day on which it is ready; None when later than two
    # years from today, when the interval is wider than a year, and before two tasting days a week apart have shown how
    # fast it fades
    expected_on: date | None
    low_on: date | None
    high_on: date | None
    today: RoastPoint | None  # the roast today; None when nothing was tasted
    # from the day of roasting to two months after today or the last tasting; empty when nothing was tasted
    curve: tuple[RoastPoint, ...]
    values: tuple[Value, ...]  # the roast of each session
    liking: Trend | None  # None unless liking was rated on days at least a week apart
    next: NextRoastTasting  # what further tasting, and when, would settle it
    left_out: tuple[LeftOut, ...]  # sessions not used, and why

    @property
    def day(self) -> int:
        """Return the day asked about, in days after the roast."""
        return max((self.asked_on - self.roasted_on).days, 0)


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
    degree: str = "",
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
    degree : str
        Degree of roast, whose usual rest stands until liking says otherwise; empty when not known.
    even_brew : EvenBrew, optional
        What the sessions are evened out to; that of oolong when left out.
    scales : Mapping, optional
        As in :func:`tastings.maths.curve.estimate.estimate_development`.

    Returns
    -------
    Readiness
        ``ready`` when it is ready today with probability 0.8 or more, or liked less the longer it waits; ``resting``
        when with 0.2 or less; between these if the day is known to within two weeks, or ``ready`` if waiting would
        change neither roast nor liking. ``cannot_tell`` otherwise.
        While the roast was not rated on two days at least a week apart, only the usual rest of its degree can say
        ``resting``.

    Raises
    ------
    ReadinessError
        A level outside 0 to 10.
    BrewError
        A number in a brew cannot be one.
    """
    if not 0 <= level <= 10:
        raise ReadinessError(f"a level runs from 0 to 10, got {level}")
    day_of = {session.brew.session: float((session.day - roasted_on).days) for session in sessions}
    fresh = [session.brew for session in sessions if session.day >= roasted_on]
    grid = default_grid(form_of(fresh))
    followed, left_out = prepare_sessions(validated_brews(fresh), grid=grid, scales=scales or {})
    early = tuple(
        LeftOut(session.brew.session, None, "before_roast")
        for session in sorted(sessions, key=lambda session: session.brew.session)
        if session.day < roasted_on
    )
    values = values_of(followed, key=ROAST, day_of=day_of, even_brew=even_brew, grid=grid)
    start_mean, start_sd = usual_start(degree)
    fade = fit_fade(values, start_mean=start_mean, start_sd=start_sd)
    question = _Question(level=level, today=today, day=max(float((today - roasted_on).days), 0.0))
    liking = values_of(followed, key=LIKING, day_of=day_of, even_brew=even_brew, grid=grid)
    moves = trend(liking)
    rest = None
    if degree in USUAL_REST_DAYS or moves is not None:
        # Sessions differ in liking by as much as in roast.
        rest = fit_rest(liking, degree=degree, noise_weights=fade.noise_weights)
    ready = _ReadyDay.of(fade, rest=rest, level=level)
    days = sorted({value.day for value in values})
    falling = rest.probability_falling if rest is not None and moves is not None else None
    levelled = _levelled(fade, day=question.day) if days else None
    verdict, basis = _verdict(ready, days=days, today=question.day, rest=rest, falling=falling, levelled=levelled)
    low, middle, high = ready.quantiles()
    # Before the pace of fading was seen, a date would be the prior's guess.
    is_dated = bool(days) and days[-1] - days[0] >= LEAST_SPAN_DAYS and high - low <= WIDEST_DAYS
    horizon = question.day + HORIZON_DAYS if is_dated else -1.0
    shown = np.linspace(0, max([question.day, *days]) + 60, 13).round() if days else ()
    return Readiness(
        verdict=verdict,
        basis=basis,
        attribute=ROAST,
        level=level,
        degree=degree,
        roasted_on=roasted_on,
        asked_on=today,
        probability=ready.by(question.day) if days else None,
        under=ready.under_by(question.day) if days else None,
        rested=None if rest is None or not days else rest.rested_by(question.day),
        levelled=levelled,
        falling=falling,
        expected_on=day_on(roasted_on, middle, horizon=horizon),
        low_on=day_on(roasted_on, low, horizon=horizon),
        high_on=day_on(roasted_on, high, horizon=horizon),
        today=_point(fade, day=question.day) if days else None,
        curve=tuple(_point(fade, day=float(day)) for day in shown),
        values=values,
        liking=moves,
        next=_next(fade, values, question=question, verdict=verdict),
        left_out=(*early, *left_out),
    )


@dataclass(frozen=True, slots=True)
class _ReadyDay:
    """The day on which a tea is ready: the later of two, its roast under the level and its rest over.

    ``under`` and ``weights`` are the first of them at each node of the fading curve [days, inf for never].
    """

    under: FloatArray
    weights: FloatArray
    rest: Rest | None

    @classmethod
    def of(cls, fade: Fade, *, rest: Rest | None, level: float) -> "_ReadyDay":
        return cls(under=fade.under(level), weights=fade.weights, rest=rest)

    def under_by(self, day: float) -> float:
        return never_certain(float(self.weights[self.under <= day].sum()))

    def by(self, day: float) -> float:
        return never_certain(self.under_by(day) * (1.0 if self.rest is None else self.rest.rested_by(day)))

    def quantiles(self) -> tuple[float, float, float]:
        """Return the 10 %, 50 % and 90 % quantile [days, inf for never]."""
        finite = self.under[np.isfinite(self.under)]
        days = np.unique(np.concatenate([finite, [] if self.rest is None else self.rest.days]))
        if not days.size:
            return np.inf, np.inf, np.inf
        order = np.argsort(self.under)
        cumulative = np.concatenate([[0.0], np.cumsum(self.weights[order])])
        chance = cumulative[np.searchsorted(self.under[order], days, side="right")]
        if self.rest is not None:
            order = np.argsort(self.rest.days)
            cumulative = np.concatenate([[0.0], np.cumsum(self.rest.weights[order])])
            chance = chance * cumulative[np.searchsorted(self.rest.days[order], days, side="right")]
        places = np.searchsorted(chance, [TAIL * (1 - 1e-12), 0.5 * (1 - 1e-12), (1 - TAIL) * (1 - 1e-12)])
        low, middle, high = (float(days[i]) if i < days.size else np.inf for i in places)
        return low, middle, high


def _levelled(fade: Fade, *, day: float) -> float:
    """Return the probability that the roast hardly fades any more after a day."""
    lost = fade.at(day) - fade.at(day + LEVELLED_DAYS)
    return never_certain(float(fade.weights[lost < LEVELLED_POINTS].sum()))


def _verdict(  # noqa: PLR0913 - each is a probability or day of its own
    ready: _ReadyDay,
    *,
    days: Sequence[float],
    today: float,
    rest: Rest | None,
    falling: float | None,
    levelled: float | None,
) -> tuple[Verdict, Basis]:
    one_week_short = not days or days[-1] - days[0] < LEAST_SPAN_DAYS
    if one_week_short and rest is not None and rest.rested_by(today) <= 1 - SURE:
        return "resting", "usual_rest"
    if not days:
        return "cannot_tell", "not_rated"
    if one_week_short:
        return "cannot_tell", "one_week_short"
    if falling is not None and falling >= SURE:
        return "ready", "liking_falls"
    low, _, high = ready.quantiles()
    narrow, probability = high - low <= NARROW_DAYS, ready.by(today)
    if probability >= SURE or (narrow and probability >= 0.5):
        return "ready", "probability"
    if probability <= 1 - SURE or narrow:
        return "resting", "probability"
    if (levelled or 0.0) >= SURE and (rest is None or rest.rested_by(today) >= SURE):
        return "ready", "levelled"
    return "cannot_tell", "probability"


def _next(fade: Fade, values: Sequence[Value], *, question: _Question, verdict: Verdict) -> NextRoastTasting:
    """Find the day, of some within two months, on which one more tasting narrows the interval of the date most."""
    if not values:
        return NextRoastTasting("first")
    if verdict == "ready":
        return NextRoastTasting("none")
    days = [value.day for value in values]
    first, spread_yet = min(days), max(days) - min(days) >= LEAST_SPAN_DAYS
    under = np.minimum(fade.under(question.level), question.day + HORIZON_DAYS)
    variance = float(np.median([value.variance for value in values])) + float(NOISE**2 @ fade.noise_weights)
    now = _width(under, weights=fade.weights)
    candidates = [
        (_expected_width(fade, under=under, day=question.day + ahead, variance=variance), ahead)
        for ahead in NEXT_DAYS
        if spread_yet or question.day + ahead - first >= LEAST_SPAN_DAYS
    ]
    narrowest, ahead = min(candidates)
    return NextRoastTasting(
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
