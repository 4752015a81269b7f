"""Value against price: which lots no other beats on both."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite

import numpy as np
from scipy.special import ndtr

from tastings.maths.certainty import CENTRAL_80
from tastings.maths.flights.standings import Standing

_N_NODES = 401
_REACH = 6.0
_LEAST_SD = 1e-6


class PriceError(ValueError):
    """A price is below 0 or not a number."""


@dataclass(frozen=True, slots=True)
class Worth:
    """One lot's place between what it is worth and what it costs."""

    lot: str
    price: float | None  # as given, all in one currency and for the same weight; None when it is not known
    mean: float  # its adjusted mean [points]
    # no other lot has at least its mean for at most its price, one of them better; None without a price
    on_frontier: bool | None
    p_on_frontier: float | None  # probability of that, means being uncertain
    beaten_by: str | None  # the best of the lots that beat it on both; None on the frontier or without a price


def price_frontier(standings: Sequence[Standing], prices: Mapping[str, float | None]) -> tuple[Worth, ...]:
    """Return which lots no other beats on both adjusted mean and price.

    Parameters
    ----------
    standings : Sequence[Standing]
        Of the lots that may be chosen.
    prices : Mapping[str, float or None]
        By lot; one that is absent or None has no price and neither beats nor is beaten.

    Returns
    -------
    tuple[Worth, ...]
        In the order of the standings.

    Raises
    ------
    PriceError
        A price below 0 or not a number.

    Notes
    -----
    For the probability the means are taken as normal and independent. They are nearly so: what is uncertain about the
    level of all lots is small beside what is uncertain about each.
    """
    for lot, price in prices.items():
        if price is not None and not (isfinite(price) and price >= 0):
            raise PriceError(f"the price of {lot} is not one")
    values = []
    priced = [(row, price) for row in standings if (price := prices.get(row.lot)) is not None]
    for row in standings:
        price = prices.get(row.lot)
        if price is None:
            values.append(Worth(row.lot, None, row.mean, on_frontier=None, p_on_frontier=None, beaten_by=None))
            continue
        others = [(other, cost) for other, cost in priced if other.lot != row.lot and cost <= price]
        beaters = [
            other for other, cost in others if other.mean >= row.mean and (other.mean > row.mean or cost < price)
        ]
        best = min(beaters, key=lambda other: (-other.mean, other.lot), default=None)
        values.append(
            Worth(
                row.lot,
                price,
                row.mean,
                on_frontier=best is None,
                p_on_frontier=_unbeaten(row, [other for other, _ in others]),
                beaten_by=None if best is None else best.lot,
            )
        )
    return tuple(values)


def _unbeaten(standing: Standing, others: Sequence[Standing]) -> float:
    """Return the probability that none of the others has a higher mean."""
    node = np.linspace(-_REACH, _REACH, _N_NODES)
    weight = np.exp(-0.5 * node**2)
    at = standing.mean + _sd(standing) * node
    below = np.ones(_N_NODES)
    for other in others:
        below *= ndtr((at - other.mean) / _sd(other))
    return float((weight * below).sum() / weight.sum())


def _sd(standing: Standing) -> float:
    return max((standing.high - standing.low) / (2 * CENTRAL_80), _LEAST_SD)
