"""Finds the leading descriptors of each infusion, the new and the lost ones, and the richness of the cup.

Each descriptor has a weight at each infusion: the mean of its even-brew curve, or, where it was only ever noted, the
share of tasted cups that note it, at 2.5 points when all do. Both are shrunk, so that nothing is said because one cup
named it: as if one more cup were without it, and, where it is noted only, another like the cups before and after.
Richness is the effective number of descriptors, exp of the entropy of the shares of those present: 1 for a single
flavour, 5 for five equally strong ones, 0 when none reaches a point.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import entr

from tastings.maths.arrays import BoolArray, FloatArray

PRESENT = 1.0  # points from which a flavour counts as present
NOTED = 2.5  # weight of a flavour that is noted in every cup but never rated [points]
LEAST_RATINGS = 2  # in the whole lot, for a rated flavour to be in the layers
N_LEADING = 3
LEADING_SHARE = 0.6  # of the strongest
NOT_FLAVOURS = frozenset({"strength", "liking", "thin", "finish", "aroma", "body"})
"""Descriptors of the cup as a whole: how strong, long or full it is, not what it tastes of."""


@dataclass(frozen=True, slots=True)
class Layer:
    """The flavours of one even-brew infusion."""

    infusion: int
    leading: tuple[str, ...]  # up to three descriptors, strongest first, each at least 1 point and 0.6 of the strongest
    # new, gone: Those that reach 1 point here, or fall below it, compared with the infusion before. One that is back at
    # the next infusion is neither gone nor new: a single cup is too little to tell.
    new: tuple[str, ...]
    gone: tuple[str, ...]
    richness: float  # effective number of descriptors that reach 1 point [0 for none]


def rated_weights(mean: FloatArray, *, ratings: int) -> FloatArray:
    """Return the weight of a rated descriptor at each infusion, float64[n] [points].

    Parameters
    ----------
    mean : float64[n]
        Its curve. [points, 0 to 10]
    ratings : int
        How many cups rated it.
    """
    return mean * ratings / (ratings + 1) if ratings >= LEAST_RATINGS else np.zeros_like(mean)


def noted_weights(noted: FloatArray, *, tasted: FloatArray) -> FloatArray:
    """Return the weight of a noted descriptor at each infusion, float64[n] [points]; 0 where nobody tasted.

    Parameters
    ----------
    noted, tasted : float64[n]
        How many cups noted it, and how many were tasted.

    Examples
    --------
    >>> noted_weights(np.array([0.0, 1.0, 0.0, 1.0, 1.0]), tasted=np.ones(5)).round(1).tolist()
    [0.4, 0.8, 0.6, 1.1, 1.2]
    """
    near, near_tasted = (np.convolve(counts, (1.0, 0.0, 1.0))[1:-1] for counts in (noted, tasted))
    share = (noted + near / (near_tasted + 1)) / (tasted + 2)
    return np.where(tasted > 0, NOTED * share, 0.0)


def find_layers(curves: Mapping[str, FloatArray]) -> tuple[Layer, ...]:
    """Find the layers of the curves.

    Parameters
    ----------
    curves : Mapping[str, float64[n]]
        Weight of each descriptor at infusion 1, 2, ...; all of one length. [points, at least 0]

    Returns
    -------
    tuple[Layer, ...]
        One per infusion, in order.

    Examples
    --------
    >>> found = find_layers({"orchid": np.array([4.0, 0.5]), "honey": np.array([0.0, 3.0])})
    >>> found[1].new, found[1].gone, round(found[0].richness, 2)
    (('honey',), ('orchid',), 1.0)
    """
    names = sorted(key for key in curves if key not in NOT_FLAVOURS)
    infusions = max((curve.size for curve in curves.values()), default=0)
    table = np.array([curves[key] for key in names]).reshape(len(names), infusions)
    present = _without_gaps(table >= PRESENT)
    layers_found = []
    for index in range(infusions):
        weight = table[:, index]
        order = sorted(range(len(names)), key=lambda i: (-table[i, index], names[i]))
        strongest = weight.max(initial=0.0)
        leading = [names[i] for i in order if weight[i] >= max(PRESENT, LEADING_SHARE * strongest)][:N_LEADING]
        before = present[:, index - 1] if index else np.zeros(len(names), dtype=np.bool_)
        layers_found.append(
            Layer(
                infusion=index + 1,
                leading=tuple(leading),
                new=tuple(names[i] for i in order if present[i, index] and not before[i]),
                gone=tuple(names[i] for i in order if before[i] and not present[i, index]),
                richness=richness(np.where(weight >= PRESENT, weight, 0.0)),
            )
        )
    return tuple(layers_found)


def _without_gaps(present: BoolArray) -> BoolArray:
    """Return which descriptors are there, bool[n_names, n_infusions], gaps of a single infusion filled."""
    filled = present.copy()
    filled[:, 1:-1] |= present[:, :-2] & present[:, 2:]
    return filled


def richness(weights: FloatArray) -> float:
    """Return the effective number of descriptors.

    It is exp of the entropy (in nats) of their shares; 0 when all weights
    are 0.

    Examples
    --------
    >>> round(richness(np.array([2.0, 2.0, 2.0, 0.0])), 6)
    3.0
    """
    total = float(weights.sum())
    if total <= 0:
        return 0.0
    return float(np.exp(entr(weights / total).sum()))
