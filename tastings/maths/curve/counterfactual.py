"""What a lot's ratings average, and what the even brew would have given: where the brewing moved the picture.

The cup without the departures is that of the even-brew curve itself, so the two never contradict each other.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from tastings.maths.arrays import FloatArray
from tastings.maths.curve.tasted import TastedPoint

LEAST_EFFECT = 0.1
"""The step of the scale: what changes a cup by less is not listed. [points]"""
LEAST_MOVE = 0.3
"""A mean that the brewing moved by less is not worth a sentence (own rule). [points]"""
LEAST_RATINGS = 2
"""A single rating may be high or low for other reasons than the brewing (own rule)."""


@dataclass(frozen=True, slots=True)
class CounterfactualPoint:
    """One infusion of a lot as its ratings show it, and on the even brew."""

    infusion: int
    # ratings, departed: how many ratings, and how many of them the brewing moved by a tenth of a point or more
    ratings: int
    departed: int
    # shown, without: mean of the ratings as given, and the even-brew curve [points, 0 to 10]
    shown: float
    without: float
    brewing: float  # what the brewing added to the even-brew cup, on average over the ratings [points]
    contact_s: float  # how long the water was on the leaf, on average over the ratings [s]


@dataclass(frozen=True, slots=True)
class Counterfactual:
    """A lot's ratings of one descriptor against its even-brew curve, infusion by infusion."""

    descriptor: str
    points: tuple[CounterfactualPoint, ...] = ()

    @property
    def most_moved(self) -> CounterfactualPoint | None:
        """Return the infusion that the brewing moved most; None when it moved none by much.

        The ratings must have moved the same way: else something other than the brewing made the difference.
        """
        moved = [
            point
            for point in self.points
            if point.ratings >= LEAST_RATINGS
            and abs(point.brewing) >= LEAST_MOVE
            and (point.shown - point.without) * point.brewing >= LEAST_MOVE**2
        ]
        return max(moved, key=lambda point: abs(point.brewing), default=None)


def counterfactual(descriptor: str, tasted: Sequence[TastedPoint], *, even_mean: FloatArray) -> Counterfactual:
    """Set the ratings of a descriptor against its even-brew curve.

    Parameters
    ----------
    descriptor : str
        Its key.
    tasted : Sequence[TastedPoint]
        Its ratings, in any order.
    even_mean : float64[n_infusions]
        The curve. [points, 0 to 10]

    Returns
    -------
    Counterfactual
        One point for each infusion that was rated and that the curve reaches.
    """
    by_infusion: dict[int, list[TastedPoint]] = defaultdict(list)
    for cup in tasted:
        if cup.infusion <= even_mean.size:
            by_infusion[cup.infusion].append(cup)
    return Counterfactual(
        descriptor=descriptor,
        points=tuple(
            CounterfactualPoint(
                infusion=number,
                ratings=len(cups),
                departed=sum(abs(cup.brewing) >= LEAST_EFFECT for cup in cups),
                shown=sum(cup.rating for cup in cups) / len(cups),
                without=float(even_mean[number - 1]),
                brewing=sum(cup.brewing for cup in cups) / len(cups),
                contact_s=sum(cup.contact_s for cup in cups) / len(cups),
            )
            for number, cups in sorted(by_infusion.items())
        ),
    )
