"""Two lots, or one lot in two pots, side by side on the same even brew.

Each group of sessions gets its own curves. Pairs are compared draw by draw, the draws of one group independent of
those of the other, every one with every one. A taster who tasted in both groups brings the same scale to both, so that
scale is taken out of the comparison: what is uncertain about it cancels in a difference. What does not cancel is added
again: tasters who tasted one side more often than the other, and those who tasted one side only.

Who outlasts whom allows for the two lots being nearly the same leaf (:mod:`tastings.maths.comparison.alike`). How far
the answers can be believed was simulated (``python -m benchmarks.calibration``, ``docs/measured.md``).
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from scipy.special import ndtri

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import Brew, TasterScale, form_of, validated_brews
from tastings.maths.brewing.even_brew import BOILING, MOST_INFUSIONS, EvenBrew
from tastings.maths.brewing.extraction import Grid, default_grid
from tastings.maths.certainty import never_certain
from tastings.maths.comparison.alike import ALIKE, alike_weights
from tastings.maths.curve.development import Development
from tastings.maths.curve.endings import LINES, FinishLine, ending_log_likelihood, peak_of
from tastings.maths.curve.estimate import STRENGTH, estimate_development
from tastings.maths.curve.evidence import PreparedSession, prepare_sessions
from tastings.maths.curve.model_error import ModelError
from tastings.maths.curve.order_slope import USUAL_SLOPES, OrderSlope
from tastings.maths.curve.posterior import CurveDraws, fit
from tastings.maths.curve.profile import TAIL
from tastings.maths.curve.sufficient_statistics import SessionRatings

LIKING = "liking"
FIRST_INFUSIONS = 8  # of the even brew; a cup beyond is seldom rated (common practice, no source)
N_DRAWS = 512
_LEAST_LOG_LIKELIHOOD = -200.0  # below the most; spares the slow arithmetic of numbers next to 0
_STEP = 2**0.5 - 1  # another lattice than that of the draws


@dataclass(frozen=True, slots=True)
class Difference:
    """How much more of a descriptor the first group has, over the mean of the first eight even-brew infusions.

    Liking is the mean over each group's own cups worth drinking: a tea that gives three good cups is not liked less for
    a fourth that nobody would pour.

    Parameters
    ----------
    descriptor : str
        Its key.
    mean, low, high : float
        First less second, with its central 80 %. [points]
    probability_more : float
        That the first has more.
    """

    descriptor: str
    mean: float
    low: float
    high: float
    probability_more: float


@dataclass(frozen=True, slots=True)
class Pair:
    """Two groups compared.

    Parameters
    ----------
    first, second : str
        Their names.
    shared_tasters : int
        Who tasted both.
    outlasts, outlasted : float or None
        Probability that the first has more worthwhile even-brew infusions, or fewer; what is missing to 1 is the
        probability of as many, counted up to the 24th. None when one of them has no rated strength.
    differences : tuple[Difference, ...]
        Of the descriptors rated in both.
    """

    first: str
    second: str
    shared_tasters: int
    outlasts: float | None
    outlasted: float | None
    differences: tuple[Difference, ...]

    def more(self, descriptor: str) -> float | None:
        """Return the probability that the first group has more of a descriptor; None unless both rated it."""
        return next((one.probability_more for one in self.differences if one.descriptor == descriptor), None)


@dataclass(frozen=True, slots=True)
class Comparison:
    """Every group's development, and every pair in the order of the groups."""

    groups: Mapping[str, Development]
    pairs: tuple[Pair, ...]

    @property
    def one_even_brew(self) -> bool:
        """Whether all groups are evened out to the same brew; figures of different brews compare less well."""
        return len({one.even_brew for one in self.groups.values()}) <= 1


@dataclass(frozen=True, slots=True)
class Sides:
    """Draws of one descriptor in two groups, what cancels between them left out.

    Parameters
    ----------
    first, second : Draws
        Independent of each other.
    spread : float
        Standard deviation of what their difference is uncertain by beyond the draws. [points]
    """

    first: CurveDraws
    second: CurveDraws
    spread: float

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
    grids = {name: default_grid(form_of(brews)) for name, brews in groups.items()}
    keys = list(dict.fromkeys((STRENGTH, LIKING, *rated)))
    known_line = line or FinishLine()
    followed = {
        name: prepare_sessions(validated_brews(brews), grid=grids[name], scales=scales or {})[0]
        for name, brews in groups.items()
    }
    even_brew_of = {name: (even_brews or {}).get(name, BOILING) for name in groups}
    found = {
        name: estimate_development(
            brews, rated=keys, even_brew=even_brew_of[name], scales=scales, line=line, slopes=slopes
        )
        for name, brews in groups.items()
    }
    even = {name: one.cups(grids[name], infusions=MOST_INFUSIONS) for name, one in even_brew_of.items()}
    pairs = []
    for names in combinations(groups, 2):
        one, other = (followed[name] for name in names)
        sides = {key: both for key in keys if (both := facing(one, other, key=key)) is not None}
        cups = {
            key: [
                _cups(draws, found[name], followed[name], even=even[name], key=key, grid=grids[name])
                for name, draws in zip(names, (both.first, both.second), strict=True)
            ]
            for key, both in sides.items()
        }
        outlasts, outlasted = None, None
        if STRENGTH in sides:
            both = sides[STRENGTH]
            draws = (both.first, both.second)
            counts = [
                # What the model leaves open of a leaf is the same for its like.
                _counts(
                    one,
                    followed[name],
                    cups=[of_one + both.shift[:, None] for of_one in (own, one.cups(even[name]))],
                    even=even[name],
                    grid=grids[name],
                )
                for name, one, own in zip(names, draws, cups[STRENGTH], strict=True)
            ]
            weights = alike_weights(draws, shift=both.shift, grids=(grids[names[0]], grids[names[1]]))
            outlasts, outlasted = _outlasting(*zip(*counts, strict=True), weights=weights, line=known_line)
        pairs.append(
            Pair(
                first=names[0],
                second=names[1],
                shared_tasters=len(_tasters(one) & _tasters(other)),
                outlasts=outlasts,
                outlasted=outlasted,
                differences=tuple(
                    _difference(
                        key,
                        *(
                            own[:, : _n_averaged(found[name], key=key)].mean(axis=1) + both.shift
                            for name, own in zip(names, cups[key], strict=True)
                        ),
                    )
                    for key, both in sides.items()
                ),
            )
        )
    return Comparison(groups=found, pairs=tuple(pairs))


def _n_averaged(found: Development, *, key: str) -> int:
    """Return over how many infusions a descriptor is averaged."""
    if key == LIKING and found.steeps.recommended is not None:
        return max(found.steeps.recommended, 1)
    return FIRST_INFUSIONS


def facing(first: Sequence[PreparedSession], second: Sequence[PreparedSession], *, key: str) -> Sides | None:
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
    has the same share of both sides; for unequal shares the scale comes back as ``spread``. A taster with sessions on
    one side only is uncertain against the k shared ones: both variances, 1 + 1/k. Neither side is held to a team's
    mean: held to it, one tea tasted six times by four tasters and six times by four others was called two in 16 of 100.
    """
    sides = [[ratings for one in group if (ratings := one.ratings_of(key)) is not None] for group in (first, second)]
    if not all(sides):
        return None
    counts = [Counter(one.taster for one in side) for side in sides]
    shared = counts[0].keys() & counts[1].keys()
    widened = (1 + 1 / len(shared)) ** 0.5 if shared else 1.0
    posteriors = [
        fit([_against(one, shared=shared, widened=widened) for one in side], grid=group[0].grid, centre_on_team=False)
        for side, group in zip(sides, (first, second), strict=True)
    ]
    draws = [posterior.draws(n_draws=N_DRAWS) for posterior in posteriors]
    level = float(np.mean([one.level.mean() for one in draws]))
    scale_of = {one.taster: one.scale for side in sides for one in side}
    variance = 0.0
    for taster in sorted(shared):
        uneven = counts[0][taster] / counts[0].total() - counts[1][taster] / counts[1].total()
        variance += uneven**2 * (scale_of[taster].offset_sd ** 2 + (scale_of[taster].gain_sd * level) ** 2)
    return Sides(first=draws[0], second=draws[1], spread=variance**0.5)


def _against(one: SessionRatings, *, shared: set[str], widened: float) -> SessionRatings:
    factor = 0.0 if one.taster in shared else widened
    scale = replace(one.scale, gain_sd=one.scale.gain_sd * factor, offset_sd=one.scale.offset_sd * factor)
    return replace(one, scale=scale)


def _cups(  # noqa: PLR0913 - what a curve is drawn from
    draws: CurveDraws,
    found: Development,
    followed: Sequence[PreparedSession],
    *,
    even: FloatArray,
    key: str,
    grid: Grid,
) -> FloatArray:
    """Return draws of the even-brew cups with the model's error, float64[n_draws, n_infusions]. [points].

    Where the ratings do not follow the extraction model, the draws are moved by what the curve shown is off from it.
    """
    rated = [one.ratings_of(key) for one in followed]
    posterior = fit([ratings for ratings in rated if ratings is not None], grid=grid)
    shown = np.array([point.mean for point in found.curve_of(key)])
    off = np.zeros(even.shape[1])
    off[: shown.size] = shown - posterior.draws().cups(even[:, : shown.size]).mean(axis=0)
    infusions = [pour.number for one in followed for pour in one.pours if pour.number > 0 and key in pour.ratings]
    return ModelError.of(infusions, lack_of_fit=None).applied(draws.cups(even)) + off


def _difference(key: str, first: FloatArray, second: FloatArray) -> Difference:
    all_pairs = (first[:, None] - second).ravel()
    low, high = np.quantile(all_pairs, (TAIL, 1 - TAIL))
    return Difference(
        descriptor=key,
        mean=float(all_pairs.mean()),
        low=float(low),
        high=float(high),
        probability_more=never_certain(float((all_pairs > 0).mean() + 0.5 * (all_pairs == 0).mean())),
    )


def _counts(
    draws: CurveDraws,
    followed: Sequence[PreparedSession],
    *,
    cups: Sequence[FloatArray],
    even: FloatArray,
    grid: Grid,
) -> list[FloatArray]:
    """Return how well each draw agrees with the endings at each finish line, where its number of infusions is.

    For each of ``cups``, float64[n_draws, n_infusions], the even brew's of each draw: float64[n_lines, n_draws,
    1 + n_infusions], 0 at every other number. ``even`` are the cups of every node.
    """
    agreed = ending_log_likelihood(followed, draws=draws, peak=peak_of(draws, even_cups=even), grid=grid)
    likelihood = np.exp(np.maximum(agreed - agreed.max(), _LEAST_LOG_LIKELIHOOD))
    found = []
    for of_draws in cups:
        worth = of_draws[:, None, :] > LINES[:, None]
        last = np.where(worth.any(axis=2), of_draws.shape[1] - worth[:, :, ::-1].argmax(axis=2), 0)
        counted = np.zeros((LINES.size, draws.level.size, of_draws.shape[1] + 1))
        counted[np.arange(LINES.size), np.arange(draws.level.size)[:, None], last] = likelihood
        found.append(counted)
    return found


def _outlasting(
    unrelated: Sequence[FloatArray], alike: Sequence[FloatArray], *, weights: FloatArray, line: FinishLine
) -> tuple[float, float]:
    """Return the probabilities of more and of fewer infusions; both groups face the same, unknown finish line.

    ``unrelated`` and ``alike`` are the :func:`_counts` of both groups, ``weights`` those of alike lots' draws.
    """
    first, second = (counts.sum(axis=1) for counts in unrelated)
    facing_second = np.tensordot(alike[0], weights, axes=(1, 0))  # by line, count of the first, draw of the second
    by_line = (1 - ALIKE) * first[:, :, None] * second[:, None, :] + ALIKE * (facing_second @ alike[1])
    joint = np.einsum("l,lij->ij", np.exp(line.log_weights()), by_line)
    joint /= joint.sum()
    return never_certain(float(np.tril(joint, -1).sum())), never_certain(float(np.triu(joint, 1).sum()))


def _tasters(followed: Sequence[PreparedSession]) -> set[str]:
    return {one.brew.taster for one in followed}
