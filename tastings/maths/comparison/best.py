"""Which of several lots is the best, from what is known of each pair."""

from collections.abc import Mapping, Sequence

import numpy as np
from scipy.special import ndtr

from tastings.maths.arrays import FloatArray
from tastings.maths.certainty import CENTRAL_80, never_certain
from tastings.maths.comparison.side_by_side import Comparison

_LEAST_VARIANCE = 1e-4
_N_POINTS, _REACH_SD = 2001, 6.0


def best_of(comparison: Comparison, *, descriptor: str) -> Mapping[str, float]:
    """Return the probability of each lot that it has most of a descriptor; empty unless all of them rated it.

    Notes
    -----
    Each lot is taken as normal, its mean and variance by least squares from the differences of the pairs, in which the
    scale of tasters who tasted both has cancelled. Exact for two lots with a normal difference; our own rule.
    """
    names = list(comparison.groups)
    place = {name: i for i, name in enumerate(names)}
    means, variances = (np.zeros((len(names), len(names))) for _ in range(2))
    for pair in comparison.pairs:
        difference = next((difference for difference in pair.differences if difference.descriptor == descriptor), None)
        if difference is None:
            return {}
        i, j = place[pair.first], place[pair.second]
        means[i, j], means[j, i] = difference.mean, -difference.mean
        variances[i, j] = variances[j, i] = ((difference.high - difference.low) / (2 * CENTRAL_80)) ** 2
    probabilities = highest_of(means.mean(axis=1), variance=_own_variances(variances))
    return {name: never_certain(p) for name, p in zip(names, probabilities, strict=True)}


def _own_variances(of_pairs: FloatArray) -> FloatArray:
    """Split the variance of each pair's difference into those of its two lots, by least squares."""
    n = len(of_pairs)
    if n == 2:
        variances = np.full(2, of_pairs[0, 1] / 2)
    else:
        variances = (of_pairs.sum(axis=1) - of_pairs.sum() / 2 / (n - 1)) / (n - 2)
    return np.asarray(np.maximum(variances, _LEAST_VARIANCE), dtype=np.float64)


def highest_of(mean: Sequence[float] | FloatArray, *, variance: Sequence[float] | FloatArray) -> list[float]:
    """Return how likely each of several independent normals is the highest.

    Examples
    --------
    >>> [round(p, 3) for p in highest_of([0.0, 0.0, 0.0], variance=[1.0, 1.0, 1.0])]
    [0.333, 0.333, 0.333]
    """
    at, sd = np.asarray(mean, dtype=np.float64), np.sqrt(np.asarray(variance, dtype=np.float64))
    unit = np.linspace(-_REACH_SD, _REACH_SD, _N_POINTS)
    weight = np.exp(-(unit**2) / 2)
    weight /= weight.sum()
    areas = []
    for i in range(at.size):
        x = at[i] + sd[i] * unit
        below = [ndtr((x - at[j]) / sd[j]) for j in range(at.size) if j != i]
        areas.append(float((weight * np.prod(below, axis=0)).sum()))
    return [area / sum(areas) for area in areas]
