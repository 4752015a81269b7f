"""In which order the lots of each sitting are served, so that place and the cup before favour none.

Simulated annealing on two sums of squares: how often each lot stands at each place, and how often each lot follows
each other. Two cups of a sitting change places at a time. Places count double, since they can nearly always be balanced
where neighbours cannot (own choice). It ends early at the least that counts in whole numbers allow, where Williams
squares begin.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import exp

import numpy as np

from tastings.maths.arrays import IntArray

TRIES_A_CUP = 1000
MOST_TRIES, LEAST_TRIES = 150_000, 4_000
PLACES = 2
"""Weight of the places against the neighbours."""
BESIDE_ITSELF = 60
"""Cost of a lot right after itself."""
_HOT, _COLD = 4.0, 0.4


@dataclass(frozen=True, slots=True)
class OrderCounts:
    """How often lot i stands at place j, and how often lot j follows lot i."""

    places: IntArray
    follows: IntArray


def count_orders(orders: Sequence[Sequence[int]], *, n_lots: int) -> OrderCounts:
    """Count places and neighbours.

    Examples
    --------
    >>> count_orders([[0, 1], [1, 0]], n_lots=2).follows.tolist()
    [[0, 1], [1, 0]]
    """
    longest = max((len(order) for order in orders), default=0)
    places = np.zeros((n_lots, longest), dtype=np.int64)
    follows = np.zeros((n_lots, n_lots), dtype=np.int64)
    for order in orders:
        np.add.at(places, (list(order), range(len(order))), 1)
        np.add.at(follows, (list(order[:-1]), list(order[1:])), 1)
    return OrderCounts(places, follows)


def balance(
    orders: Sequence[Sequence[int]],
    *,
    n_fixed: Sequence[int],
    n_lots: int,
    rng: np.random.Generator,
    on_progress: Callable[[float], None] | None = None,
) -> list[list[int]]:
    """Return the orders after annealing; the first ``n_fixed`` of each stay where they are."""
    now = [list(order) for order in orders]
    free = [number for number, order in enumerate(now) if len(order) - n_fixed[number] > 1]
    state = _Orders(now, n_lots=n_lots)
    if not free or state.cost <= state.least:
        return now
    n_cups = sum(len(now[number]) - n_fixed[number] for number in free)
    tries = int(np.clip(n_cups * TRIES_A_CUP, LEAST_TRIES, MOST_TRIES))
    weights = np.array([len(now[number]) - n_fixed[number] for number in free], dtype=float)
    which = rng.choice(free, size=tries, p=weights / weights.sum()).tolist()
    draws = rng.random((3, tries)).tolist()
    best, least_cost = [list(order) for order in now], state.cost
    for number, (sitting, first, second, threshold) in enumerate(zip(which, *draws, strict=True)):
        span = len(now[sitting]) - n_fixed[sitting]
        x = int(first * span)
        y = (x + 1 + int(second * (span - 1))) % span
        temperature = _HOT * (_COLD / _HOT) ** (number / tries)
        change = state.swap(sitting, n_fixed[sitting] + min(x, y), n_fixed[sitting] + max(x, y))
        if change > 0 and threshold >= exp(-change / temperature):
            state.swap(sitting, n_fixed[sitting] + min(x, y), n_fixed[sitting] + max(x, y))
        elif state.cost < least_cost:
            best, least_cost = [list(order) for order in now], state.cost
            if least_cost <= state.least:
                break
        if on_progress and number % 2000 == 0:
            on_progress(number / tries)
    return best


class _Orders:
    """Orders with their tallies in plain lists, which single steps are quickest in."""

    def __init__(self, orders: list[list[int]], *, n_lots: int) -> None:
        self._orders, self._n = orders, n_lots
        counts = count_orders(orders, n_lots=n_lots)
        self._width = counts.places.shape[1]
        self._places: list[int] = counts.places.ravel().tolist()
        self._follows: list[int] = counts.follows.ravel().tolist()
        n_beside = int(np.trace(counts.follows))
        self.cost = int(PLACES * (counts.places**2).sum() + (counts.follows**2).sum()) + BESIDE_ITSELF * n_beside
        self.least = PLACES * _even(counts.places.sum(axis=1), self._width) + _even(
            counts.follows.sum(), max(n_lots * (n_lots - 1), 1)
        )

    def swap(self, sitting: int, x: int, y: int) -> int:
        """Let the cups at places x < y change places; return by how much the cost grew."""
        order, places, follows, n, width = self._orders[sitting], self._places, self._follows, self._n, self._width
        a, c = order[x], order[y]
        if a == c:
            return 0
        grew = 0
        left = x - 1 if x else 0
        right = y + 1 if y + 1 < len(order) else y
        spans = ((left, right),) if y - x <= 2 else ((left, x + 1), (y - 1, right))
        for begin, end in spans:
            for place in range(begin, end):
                u, w = order[place], order[place + 1]
                k = u * n + w
                grew -= 2 * follows[k] - 1 + (BESIDE_ITSELF if u == w else 0)
                follows[k] -= 1
        order[x], order[y] = c, a
        for begin, end in spans:
            for place in range(begin, end):
                u, w = order[place], order[place + 1]
                k = u * n + w
                grew += 2 * follows[k] + 1 + (BESIDE_ITSELF if u == w else 0)
                follows[k] += 1
        for k, step in ((a * width + x, -1), (c * width + y, -1), (a * width + y, 1), (c * width + x, 1)):
            grew += PLACES * (2 * step * places[k] + 1)
            places[k] += step
        self.cost += grew
        return grew


def _even(total: IntArray, over: int) -> int:
    """Return the least sum of squares of ``over`` whole numbers with each total."""
    whole, rest = np.divmod(total, over)
    return int(np.sum(whole**2 * (over - rest) + (whole + 1) ** 2 * rest))
