"""How an attribute develops over the even brew: its curve with an interval, and whether it builds up, stays or fades.

The shape of a curve does not depend on its level, so label, peak, rise and half strength are computed once for each
node of the grid and weighted by the posterior. There is no random number.
"""

from dataclasses import dataclass

import numpy as np

from tastings.maths.arrays import BoolArray, FloatArray, IntArray

BUILD_UP, STEADY, SLOW_FADE, QUICK_FADE = "build_up", "steady", "slow_fade", "quick_fade"
UNDECIDED = "undecided"
LABELS = (BUILD_UP, STEADY, SLOW_FADE, QUICK_FADE)

EARLIEST_BUILD_UP_PEAK = 3
BUILD_UP_RISE = 1.15
QUICK_FADE_INFUSION = 5
SLOW_FADE_INFUSION = 8
MIN_LABEL_PROBABILITY = 0.6
MIN_BAYES_FACTOR = 3.0
"""From here on evidence is positive (Kass and Raftery 1995, Journal of the American Statistical Association 90:773)."""
LEAST_SHARE = 0.001
"""Added to the probability of each label: none is ever certain, and none impossible."""
TAIL = 0.1  # each side of a central 80 % interval
CURVE_TAIL, CURVE_TAIL_OF_ONE = 0.165, 0.02
"""Each side of the interval of a lot's curve is the first plus the second over the number of sessions: the central 63 %
of the draws after one session, 67 % after many, hold the true curve in 80 of 100 simulated lots (``docs/study.md``).
The draws allow for troubles that an ordinary team does not have, above all tired tasters, and more so while little is
known. Stating the share that was found instead of the nominal one is recalibration (Kuleshov, Fenner and Ermon 2018,
Proceedings of Machine Learning Research 80:2796; from memory)."""


@dataclass(frozen=True, slots=True)
class CurveShapes:
    """The shape of the even-brew curve at each node."""

    label: IntArray  # int64[n_nodes]: index into `LABELS`
    # peak, half, float64[n_nodes]: infusion of the peak, and the first one after it below half of the peak [infusions
    # from 1, inf if never]
    peak: FloatArray
    half: FloatArray
    rise: FloatArray  # float64[n_nodes]: peak over the first infusion [at least 1]


@dataclass(frozen=True, slots=True)
class Profile:
    """A label with the probabilities behind it, and three posterior medians.

    Of a curve that is shown, they are those of its mean, unless that has another label
    (`tastings.maths.curve.estimate`).
    """

    # one of `LABELS` when its probability is at least 0.6 and its odds are at least three times those before
    # anything was tasted, else `undecided`
    label: str
    probability: dict[str, float]  # of each label; they sum to 1
    peak_infusion: int  # where the curve is highest [infusions from 1]
    rise: float  # peak over the first infusion [at least 1]
    # first infusion below half of the peak, None when it comes after the last even-brew infusion
    half_strength_infusion: int | None


@dataclass(frozen=True, slots=True)
class Curve:
    """Mean and 80 % interval of the even-brew cup, float64[n_infusions] each [points, 0 to 10]."""

    mean: FloatArray
    low: FloatArray
    high: FloatArray


def curve_shapes(curves: FloatArray) -> CurveShapes:
    """Find the shape of each curve.

    Parameters
    ----------
    curves : float64[n_curves, n_infusions]
        Strength of infusion 1, 2, ... in any unit, above 0.

    Returns
    -------
    CurveShapes
        ``build_up`` when the peak comes at infusion 3 or later and is at least 1.15 times the first infusion; else
        ``quick_fade`` when some infusion up to the fifth, after the peak, is below half of it; else ``slow_fade``
        when one up to the eighth is; else ``steady``.

    Examples
    --------
    >>> found = curve_shapes(np.array([[4.0, 5, 6, 6, 5, 4], [8, 6, 4.5, 3.5, 2.5, 2], [6, 6, 6, 5.5, 5, 5]]))
    >>> [LABELS[i] for i in found.label]
    ['build_up', 'quick_fade', 'steady']
    """
    n_curves, n_infusions = curves.shape
    peak = curves.argmax(axis=1)
    height = curves[np.arange(n_curves), peak]
    rise = height / curves[:, 0]
    below_half = (curves < 0.5 * height[:, None]) & (np.arange(n_infusions) > peak[:, None])
    half = np.where(below_half.any(axis=1), below_half.argmax(axis=1) + 1.0, np.inf)
    is_build_up = (peak + 1 >= EARLIEST_BUILD_UP_PEAK) & (rise >= BUILD_UP_RISE)
    fading = np.select([half <= QUICK_FADE_INFUSION, half <= SLOW_FADE_INFUSION], [3, 2], default=1)
    label = np.where(is_build_up, 0, fading)
    return CurveShapes(label=label.astype(np.int64), peak=peak + 1.0, half=half, rise=rise)


def label_shares(shapes: CurveShapes, *, weights: FloatArray) -> FloatArray:
    """Return the share of each of :data:`LABELS`, float64[4]."""
    share = np.bincount(shapes.label, weights=weights, minlength=len(LABELS)) / weights.sum()
    return np.asarray(share, dtype=np.float64)


def weighted_profile(shapes: CurveShapes, *, weights: FloatArray, prior: FloatArray) -> Profile:
    """Average the shapes over the posterior.

    Parameters
    ----------
    shapes : CurveShapes
        One entry per node, or per draw.
    weights : float64[n_nodes]
        Of each node; any positive total.
    prior : float64[4]
        Probability of each label before anything was tasted (:func:`label_shares` of the grid's prior).

    Returns
    -------
    Profile
        Probabilities and weighted medians.
    """
    share = label_shares(shapes, weights=weights)
    share = (share + LEAST_SHARE) / (1 + LEAST_SHARE * len(LABELS))
    best = int(share.argmax())
    half = weighted_quantile(shapes.half, weights=weights, level=0.5)
    return Profile(
        label=LABELS[best] if _is_decided(float(share[best]), prior=float(prior[best])) else UNDECIDED,
        probability={name: float(p) for name, p in zip(LABELS, share, strict=True)},
        peak_infusion=int(weighted_quantile(shapes.peak, weights=weights, level=0.5)),
        rise=weighted_quantile(shapes.rise, weights=weights, level=0.5),
        half_strength_infusion=int(half) if np.isfinite(half) else None,
    )


def _is_decided(probability: float, *, prior: float) -> bool:
    bayes_factor = probability * (1 - prior) / max((1 - probability) * prior, 1e-12)
    return probability >= MIN_LABEL_PROBABILITY and bayes_factor >= MIN_BAYES_FACTOR


def undecided_profile() -> Profile:
    """Return the profile of an unrated lot: all labels are equally likely."""
    return Profile(
        label=UNDECIDED,
        probability=dict.fromkeys(LABELS, 1 / len(LABELS)),
        peak_infusion=1,
        rise=1.0,
        half_strength_infusion=None,
    )


def weighted_quantile(values: FloatArray, *, weights: FloatArray, level: float) -> float:
    """Return a weighted quantile.

    It is the smallest value at which the cumulative weight reaches ``level`` of the total; values may be inf.

    Examples
    --------
    >>> weighted_quantile(np.array([3.0, 1.0, 2.0]), weights=np.array([1.0, 1.0, 2.0]), level=0.5)
    2.0
    """
    order = np.argsort(values, kind="stable")
    cumulative = np.cumsum(weights[order])
    index = int(np.searchsorted(cumulative, level * cumulative[-1] * (1 - 1e-12)))
    return float(values[order[min(index, order.size - 1)]])


def summarise_cups(cups: FloatArray, *, in_mean: BoolArray | None = None, tail: float = TAIL) -> Curve:
    """Summarise draws of the even-brew cups, float64[n_draws, n_infusions], by their mean and central interval.

    ``in_mean`` says which draws make the mean, all when left out. The interval leaves out the share ``tail`` of the
    draws on each side; the mean stays within the central 80 %, and the interval reaches to it.
    """
    low, lowest_mean, highest_mean, high = np.quantile(cups, (tail, TAIL, 1 - TAIL, 1 - tail), axis=0)
    mean = np.clip((cups if in_mean is None else cups[in_mean]).mean(axis=0), lowest_mean, highest_mean)
    return Curve(mean=mean, low=np.minimum(low, mean), high=np.maximum(high, mean))


def curve_tail(n_sessions: int) -> float:
    """Return the share of draws that the interval of a curve leaves out on each side (:data:`CURVE_TAIL`)."""
    return CURVE_TAIL + CURVE_TAIL_OF_ONE / n_sessions
