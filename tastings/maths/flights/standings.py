"""Where lots stand after a flight."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tastings.maths.arrays import FloatArray
from tastings.maths.curve.profile import TAIL
from tastings.maths.flights.cups import ServedCups


@dataclass(frozen=True, slots=True)
class Estimate:
    """An uncertain number: its mean and its central 80 %."""

    mean: float
    low: float
    high: float

    @classmethod
    def of(cls, draws: FloatArray) -> "Estimate":
        """Return the figure that draws amount to."""
        low, high = np.quantile(draws, (TAIL, 1 - TAIL)).tolist()
        return cls(mean=float(draws.mean()), low=low, high=high)


@dataclass(frozen=True, slots=True)
class Standing:
    """Where one lot stands."""

    lot: str
    cups: int  # how many of it were tasted
    # mean, low, high [points]: what the team would give it at the middle of a sitting with nothing before it, and the
    # central 80 %
    mean: float
    low: float
    high: float
    raw_mean: float | None  # plain mean of its scores; None without a cup [points]
    # p_best, p_top_three: probability that no lot, or at most two lots of those that may be chosen are better
    p_best: float
    p_top_three: float


def standings(
    cups: ServedCups, *, worth: FloatArray, among: Sequence[int], ranked: bool = True
) -> tuple[Standing, ...]:
    """Return where some lots stand against each other, the highest mean first.

    Parameters
    ----------
    cups : ServedCups
        What was tasted.
    worth : float64[n_draws, n_lots]
        Draws of what lots are worth. [points]
    among : Sequence[int]
        Places of the lots that are compared.
    ranked : bool
        False for lots that cannot be chosen: their probabilities are 0.
    """
    places = list(among)
    drawn = worth[:, places]
    above = np.argsort(np.argsort(-drawn, axis=1), axis=1)
    rows = []
    for column, place in enumerate(places):
        figure, own = Estimate.of(drawn[:, column]), cups.score[cups.lot == place]
        rows.append(
            Standing(
                lot=cups.lots[place],
                cups=own.size,
                mean=figure.mean,
                low=figure.low,
                high=figure.high,
                raw_mean=float(own.mean()) if own.size else None,
                p_best=float((above[:, column] == 0).mean()) if ranked else 0.0,
                p_top_three=float((above[:, column] < 3).mean()) if ranked else 0.0,
            )
        )
    return tuple(sorted(rows, key=lambda row: (-row.mean, row.lot)))
