"""A weighted score of the five factors a cup is judged by: dry leaf, colour of the liquor, aroma, taste, spent leaf."""

from collections.abc import Mapping
from math import isfinite
from types import MappingProxyType

FACTORS = ("dry_leaf", "liquor_colour", "aroma", "taste", "spent_leaf")
WHOLE = 100.0
_SLACK = 1e-6


class FactorError(ValueError):
    """Weights that are not valid, or a score off the scale."""


def _weights(*percent: float) -> Mapping[str, float]:
    return MappingProxyType(dict(zip(FACTORS, percent, strict=True)))


COVERED_BOWL_WEIGHTS: Mapping[str, Mapping[str, float]] = MappingProxyType(
    {
        "green": _weights(25, 10, 25, 30, 10),
        "white": _weights(25, 10, 25, 30, 10),
        "yellow": _weights(25, 10, 25, 30, 10),
        "oolong": _weights(20, 5, 30, 35, 10),
        "black": _weights(25, 10, 25, 30, 10),
        "dark": _weights(20, 15, 25, 30, 10),
        "scented": _weights(20, 5, 35, 30, 10),
    }
)
"""Weights of the factors by kind of tea, in percent.

After GB/T 23776-2018, from memory and not confirmed against the standard: offered as a preset, with a warning.
Black stands for whole-leaf black tea, dark for loose dark tea; broken, pressed, bagged and powdered tea weigh
differently.
"""


def checked_weights(weights: Mapping[str, float]) -> dict[str, float]:
    """Return the weight of every factor in percent; a factor left out weighs nothing.

    Raises
    ------
    FactorError
        An unknown factor, a weight below 0, or a sum other than 100.
    """
    if unknown := sorted(set(weights) - set(FACTORS)):
        raise FactorError(f"not a factor: {', '.join(unknown)}")
    if not all(isfinite(weight) and weight >= 0 for weight in weights.values()):
        raise FactorError("a weight is 0 or more")
    if abs(sum(weights.values()) - WHOLE) > _SLACK:
        raise FactorError("weights sum to 100")
    return {factor: float(weights.get(factor, 0.0)) for factor in FACTORS}


def weighted_score(scores: Mapping[str, float], weights: Mapping[str, float]) -> float:
    """Return the weighted score of one cup. [0 to 100].

    Parameters
    ----------
    scores : Mapping[str, float]
        By factor; those that weigh something must be there. [0 to 100]
    weights : Mapping[str, float]
        By factor, in percent, set by the team.

    Raises
    ------
    FactorError
        As of :func:`checked_weights`; or a score missing or off the scale.

    Examples
    --------
    >>> scores = {"dry_leaf": 90, "liquor_colour": 80, "aroma": 92, "taste": 88, "spent_leaf": 85}
    >>> weighted_score(scores, COVERED_BOWL_WEIGHTS["oolong"])
    88.9
    """
    weighed = checked_weights(weights)
    if unknown := sorted(set(scores) - set(FACTORS)):
        raise FactorError(f"not a factor: {', '.join(unknown)}")
    if not all(isfinite(score) and 0 <= score <= WHOLE for score in scores.values()):
        raise FactorError("a score of a factor lies between 0 and 100")
    if missing := [factor for factor in FACTORS if weighed[factor] > 0 and factor not in scores]:
        raise FactorError(f"not scored: {', '.join(missing)}")
    return round(sum(weighed[factor] * scores.get(factor, 0.0) for factor in FACTORS) / WHOLE, 6)
