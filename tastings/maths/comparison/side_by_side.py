"""Two lots, or one lot in two pots, side by side on the same even brew.

Each group of sessions gets its own curves. Pairs are compared draw by draw, the draws of one group independent of
those of the other, every one with every one. A taster who tasted in both groups brings the same scale to both, so that
scale is taken out of the comparison: what is uncertain about it cancels in a difference. What does not cancel is added
again: tasters who tasted one side more often than the other, and those who tasted one side only.

Who outlasts whom allows for the two lots being nearly the same leaf (:mod:`tastings.maths.comparison.alike`); other
differences are more likely small than large before anything is tasted. How far the answers can be believed was
simulated (``python -m benchmarks.calibration``, ``docs/measured.md``).
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from scipy.special import ndtri

from tastings.maths.arrays import FloatArray, IndexArray
from tastings.maths.brewing.brews import Brew, TasterScale, form_of, validated_brews
from tastings.maths.brewing.even_brew import BOILING, MOST_INFUSIONS, EvenBrew
from tastings.maths.brewing.extraction import Grid, default_grid
from tastings.maths.certainty import never_certain
from tastings.maths.comparison.alike import alike_weights
from tastings.maths.comparison.counts import Counts, likely_line, outlasting
from tastings.maths.curve.development import Development
from tastings.maths.curve.endings import FinishLine, ending_log_likelihood, peak_of
from tastings.maths.curve.estimate import STRENGTH, estimate_development
from tastings.maths.curve.evidence import PreparedSession, prepare_sessions
from tastings.maths.curve.model_error import ModelError
from tastings.maths.curve.order_slope import USUAL_SLOPES, OrderSlope
from tastings.maths.curve.posterior import CurveDraws, fit
from tastings.maths.curve.profile import TAIL, weighted_quantile
from tastings.maths.curve.scale_effects import taster_shift_sd
from tastings.maths.curve.sufficient_statistics import SESSION_GAIN_SD, SessionRatings, session_shift_sd

LIKING = "liking"
FIRST_INFUSIONS = 8  # of the even brew; a cup beyond is seldom rated (common practice, no source)
DIFFERENCE_SD, STRENGTH_DIFFERENCE_SD = 3.5, 1.15
"""How much two compared lots differ by before anything is tasted, in any descriptor and in strength, which differs less
between lots brewed with as much leaf (own values, chosen in simulated worlds). [points]"""
N_DRAWS = 512
_STEP = 2**0.5 - 1  # another lattice than that of the draws


@dataclass(frozen=True, slots=True)
class Difference:
    """How much more of a descriptor the first group has, over the mean of the first eight even-brew infusions.

    Liking is the mean over each group's own cups worth drinking, however many these are: a tea that gives three good
    cups is not liked less for a fourth that nobody would pour. Small differences are likelier before anything is tasted
    (:data:`DIFFERENCE_SD`), so this one is smaller than between the two curves, the more so the less is known.
    """

    descriptor: str
    # mean, low, high: first less second, with its central 80 % [points]
    mean: float
    low: float
    high: float
    probability_more: float  # that the first has more


@dataclass(frozen=True, slots=True)
class Pair:
    """Two groups compared."""

    first: str
    second: str
    shared_tasters: int  # who tasted both
    # outlasts, outlasted: Probability that the first has more worthwhile even-brew infusions, or fewer; what is missing
    # to 1 is the probability of as many, counted up to the 24th. None when one of them has no rated strength.
    outlasts: float | None
    outlasted: float | None
    differences: tuple[Difference, ...]  # of the descriptors rated in both

    def more(self, descriptor: str) -> float | None:
        """Return the probability that the first group has more of a descriptor; None unless both rated it."""
        return next((row.probability_more for row in self.differences if row.descriptor == descriptor), None)

    def swapped(self) -> "Pair":
        """Return the same with the second group first."""
        differences = tuple(
            replace(row, mean=-row.mean, low=-row.high, high=-row.low, probability_more=1.0 - row.probability_more)
            for row in self.differences
        )
        return replace(
            self,
            first=self.second,
            second=self.first,
            outlasts=self.outlasted,
            outlasted=self.outlasts,
            differences=differences,
        )


@dataclass(frozen=True, slots=True)
class Comparison:
    """Every group's development, and every pair in the order of the groups."""

    groups: Mapping[str, Development]
    pairs: tuple[Pair, ...]

    @property
    def one_even_brew(self) -> bool:
        """Whether all groups are evened out to the same brew; figures of different brews compare less well."""
        return len({group.even_brew for group in self.groups.values()}) <= 1


@dataclass(frozen=True, slots=True)
class Sides:
    """Draws of one descriptor in two groups, what cancels between them left out."""

    # first, second: independent of each other
    first: CurveDraws
    second: CurveDraws
    spread: float  # standard deviation of what their difference is uncertain by beyond the draws [points]

    def means(self, even: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return each side's draws of the mean over the cups given, float64[n_draws] each. [points]."""
        first, second = (draws.cups(even).mean(axis=1) for draws in (self.first, self.second))
        return first + self.shift, second + self.shift

    @property
    def shift(self) -> FloatArray:
        """Return what the draws of each side are moved by, so that all differences get :attr:`spread`. [points]."""
        quantile = np.clip((0.5 + np.arange(self.first.level.size) * _STEP) % 1.0, 1e-6, 1 - 1e-6)
        return np.asarray(self.spread / 2**0.5 * ndtri(quantile), dtype=np.float64)


def compare(  # noqa: PLR0913 - what is known of the team beforehand, one by one
    groups: Mapping[str, Sequence[Brew]],
    *,
    rated: Sequence[str],
    even_brews: Mapping[str, EvenBrew] | None = None,
    developments: Mapping[str, Development] | None = None,
    scales: Mapping[str, Mapping[str, TasterScale]] | None = None,
    line: FinishLine | None = None,
    slopes: Mapping[str, OrderSlope] = USUAL_SLOPES,
) -> Comparison:
    """Compare groups of sessions, each on the even brew of its kind.

    Parameters
    ----------
    groups : Mapping[str, Sequence[Brew]]
        Sessions by name of the group: lots, or one lot by vessel material.
    rated : Sequence[str]
        Keys of the descriptors to compare; ``strength`` and ``liking`` are always among them.
    even_brews : Mapping[str, EvenBrew], optional
        What each group is evened out to; that of oolong for a group without one.
    developments : Mapping[str, Development], optional
        Figures that are known already, by group; those of the others are computed.
    scales, line, slopes
        As in :func:`tastings.maths.curve.estimate.estimate_development`.

    Returns
    -------
    Comparison
        Pairs in the order of ``groups``.

    Raises
    ------
    BrewError
        A number in a brew cannot be one.
    """
    descriptors = list(dict.fromkeys((STRENGTH, LIKING, *rated)))
    sides = []
    for name, brews in groups.items():
        even_brew = (even_brews or {}).get(name, BOILING)
        grid = default_grid(form_of(brews))
        sides.append(
            _Group(
                name=name,
                sessions=prepare_sessions(validated_brews(brews), grid=grid, scales=scales or {})[0],
                development=(developments or {}).get(name)
                or estimate_development(
                    brews, rated=descriptors, even_brew=even_brew, scales=scales, line=line, slopes=slopes
                ),
                even_cups=even_brew.cups(grid, infusions=MOST_INFUSIONS),
                grid=grid,
            )
        )
    return Comparison(
        groups={side.name: side.development for side in sides},
        pairs=tuple(
            _compare_pair(*two, descriptors=descriptors, line=line or FinishLine()) for two in combinations(sides, 2)
        ),
    )


@dataclass(frozen=True, slots=True)
class _Group:
    """One group's sessions, their figures, and the cups of its even brew at every node of its grid."""

    name: str
    sessions: Sequence[PreparedSession]
    development: Development
    even_cups: FloatArray
    grid: Grid

    @property
    def tasters(self) -> set[str]:
        return {session.brew.taster for session in self.sessions}


def _compare_pair(first: _Group, second: _Group, *, descriptors: Sequence[str], line: FinishLine) -> Pair:
    outlasts, outlasted = None, None
    averaged: list[int | IndexArray] = [FIRST_INFUSIONS, FIRST_INFUSIONS]
    differences = []
    for key in descriptors:
        both = draw_sides(first.sessions, second.sessions, key=key)
        if both is None:
            continue
        of_first = _cups(both.first, first, descriptor=key)
        of_second = _cups(both.second, second, descriptor=key)
        means = [
            _mean_cups(cups, n=n if key == LIKING else FIRST_INFUSIONS) + both.shift
            for cups, n in zip((of_first, of_second), averaged, strict=True)
        ]
        if key == STRENGTH:
            counts = (
                _counts(both.first, first, cups=of_first + both.shift[:, None], shift=both.shift),
                _counts(both.second, second, cups=of_second + both.shift[:, None], shift=both.shift),
            )
            weights = alike_weights((both.first, both.second), shift=both.shift, grids=(first.grid, second.grid))
            outlasts, outlasted = outlasting(*counts, weights=weights, line=line)
            averaged = [side.draw(likely_line(counts, line=line)) for side in counts]
        differences.append(_difference(key, *means))
    return Pair(
        first=first.name,
        second=second.name,
        shared_tasters=len(first.tasters & second.tasters),
        outlasts=outlasts,
        outlasted=outlasted,
        differences=tuple(differences),
    )


def draw_sides(first: Sequence[PreparedSession], second: Sequence[PreparedSession], *, key: str) -> Sides | None:
    """Draw one descriptor of two groups so that what their tasters have in common cancels.

    Parameters
    ----------
    first, second : Sequence[PreparedSession]
        The sessions of each group.
    key : str
        Key of the descriptor.

    Returns
    -------
    Sides or None
        None unless both groups rated it.

    Notes
    -----
    The scale of a taster with sessions on both sides counts as known in the fits. That is exact when each such taster
    weighs as much on both sides; what does not cancel comes back as ``spread``. A taster of one side only is as
    uncertain as before. Neither side is centred on a team's mean: centred, one tea tasted six times by four tasters
    and six times by four others was called two in 16 of 100.
    """
    sides = [[ratings for s in group if (ratings := s.ratings_of(key)) is not None] for group in (first, second)]
    if not all(sides):
        return None
    shared = set.intersection(*({ratings.taster for ratings in side} for side in sides))
    posteriors = [
        fit(
            [replace(r, scale=replace(r.scale, gain_sd=0.0, offset_sd=0.0)) if r.taster in shared else r for r in side],
            grid=group[0].grid,
            centre_on_team=False,
        )
        for side, group in zip(sides, (first, second), strict=True)
    ]
    every = [ratings for side in sides for ratings in side]
    error = _RatingError(
        sigma=sum(posterior.sigma for posterior in posteriors) / 2,
        rated=float(np.concatenate([ratings.ratings for ratings in every]).mean()),
    )
    weights = [error.weights(side, shared=shared) for side in sides]
    scales = {ratings.taster: ratings.scale for ratings in every if ratings.taster in shared}
    variance = sum(
        (weights[0][taster] - weights[1][taster]) ** 2 * error.of_taster(scale) for taster, scale in scales.items()
    )
    draws = [posterior.draws(n_draws=N_DRAWS) for posterior in posteriors]
    return Sides(first=draws[0], second=draws[1], spread=variance**0.5)


@dataclass(frozen=True, slots=True)
class _RatingError:
    """What ratings are off by: ``sigma`` is their noise, ``rated`` the mean of the ratings. [points]."""

    sigma: float
    rated: float

    def of_taster(self, scale: TasterScale) -> float:
        """Return the variance of a taster's mean rating that is due to the taster's scale [points^2]."""
        return float(taster_shift_sd(scale, self.sigma)) ** 2 + (scale.gain_sd * self.rated) ** 2

    def weights(self, side: Sequence[SessionRatings], *, shared: Collection[str]) -> dict[str, float]:
        """Return how much each taster weighs in the fit of one side: the more, the better the taster's mean is known.

        Scales of ``shared`` tasters count as known.
        """
        own = session_shift_sd(self.sigma) ** 2 + (SESSION_GAIN_SD * self.rated) ** 2
        precision: dict[str, float] = {}
        for ratings in side:
            of_session = 1 / float(own + self.sigma**2 / ratings.ratings.size)
            precision[ratings.taster] = precision.get(ratings.taster, 0.0) + of_session
        for taster, scale in {ratings.taster: ratings.scale for ratings in side}.items():
            if taster not in shared:
                precision[taster] = 1 / (self.of_taster(scale) + 1 / precision[taster])
        total = sum(precision.values())
        return {taster: part / total for taster, part in precision.items()}


def _cups(draws: CurveDraws, group: _Group, *, descriptor: str) -> FloatArray:
    """Return draws of the even-brew cups with the model's error, float64[n_draws, n_infusions]. [points].

    Where the ratings do not follow the extraction model, the draws are moved by what the curve shown is off from it.
    """
    rated = [session.ratings_of(descriptor) for session in group.sessions]
    posterior = fit([ratings for ratings in rated if ratings is not None], grid=group.grid)
    shown = np.array([point.mean for point in group.development.curve_of(descriptor)])
    off = np.zeros(group.even_cups.shape[1])
    off[: shown.size] = shown - posterior.draws().cups(group.even_cups[:, : shown.size]).mean(axis=0)
    infusions = [
        pour.number for s in group.sessions for pour in s.pours if pour.number > 0 and descriptor in pour.ratings
    ]
    cups = draws.cups(group.even_cups)
    return ModelError.of(infusions, strength=cups.mean(axis=0)).applied(cups) + off


def _counts(draws: CurveDraws, group: _Group, *, cups: FloatArray, shift: FloatArray) -> Counts:
    """Count the infusions above each finish line; ``cups`` are those of :func:`_cups`, with the shift."""
    agreed = ending_log_likelihood(
        group.sessions, draws=draws, peak=peak_of(draws, even_cups=group.even_cups), grid=group.grid
    )
    return Counts.of(cups, alike=draws.cups(group.even_cups) + shift[:, None], log_likelihood=agreed)


def _difference(key: str, first: FloatArray, second: FloatArray) -> Difference:
    """Compare every fourth draw of one side with every fourth of the other; small differences are likelier beforehand.

    The draws of each side know nothing of the other lot, so by themselves they would expect differences as large as any
    two teas have; uneven tasters would then make differences of what is their own.
    """
    pairs = (first[::4, None] - second[::4]).ravel()
    weights = np.exp(-0.5 * (pairs / (STRENGTH_DIFFERENCE_SD if key == STRENGTH else DIFFERENCE_SD)) ** 2)
    weights /= weights.sum()
    low, high = (weighted_quantile(pairs, weights=weights, level=part) for part in (TAIL, 1 - TAIL))
    return Difference(
        descriptor=key,
        mean=float(pairs @ weights),
        low=low,
        high=high,
        probability_more=never_certain(float(weights[pairs > 0].sum() + 0.5 * weights[pairs == 0].sum())),
    )


def _mean_cups(cups: FloatArray, *, n: int | IndexArray) -> FloatArray:
    """Return the mean of each draw's first n cups, float64[n_draws] [points]; n may differ by draw."""
    total = cups.cumsum(axis=1)
    return np.asarray(total[np.arange(len(cups)), np.asarray(n) - 1] / n, dtype=np.float64)
