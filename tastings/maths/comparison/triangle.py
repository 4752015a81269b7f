"""Triangle tests: can two teas be told apart when one of three cups is the odd one.

Source: ISO 4120:2021; its table is the exact upper tail of a binomial with one third. A proportion ``distinguishers``
of the answers comes from people who do tell the teas apart, the rest guess: right answers then have probability
``distinguishers + (1 - distinguishers) / 3``, the model of the same standard.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import betainc

from tastings.maths.arrays import FloatArray, IntArray

CHANCE = 1 / 3
ALPHA = 0.05
POWER = 0.8
DISTINGUISHERS = 0.3  # the standard calls 25 to 35 % a difference of medium size
MOST_TESTS = 5000


class TriangleError(ValueError):
    """Counts that no triangle test can have."""


@dataclass(frozen=True, slots=True)
class Triangle:
    """The answer of a triangle test."""

    n_correct: int  # right answers
    n_tests: int  # of how many
    p: float  # probability of at least so many right answers when the teas are equal
    alpha: float  # accepted probability of calling equal teas different
    least_correct: int | None  # right answers needed to call them different; None when no number would do
    different: bool  # whether there were that many
    distinguishers: float  # proportion of people to be found out
    power: float  # probability that this many tests find them out
    target_power: float
    needed: int | None  # tests needed for that; None when 5,000 are not enough
    found_distinguishers: float  # best guess of the proportion who told them apart [0 to 1]


def triangle(*, n_correct: int, n_tests: int, alpha: float = ALPHA, distinguishers: float = DISTINGUISHERS) -> Triangle:
    """Answer a triangle test: are the teas told apart, and could this many tests have shown it.

    Parameters
    ----------
    n_correct, n_tests : int
        Right answers, of how many; at least one test.
    alpha : float
        Accepted probability of calling equal teas different. [0 to 1]
    distinguishers : float
        Proportion of people who can tell them apart that the test is to find out. [above 0, at most 1]

    Returns
    -------
    Triangle
        That two teas were not called different is no proof that they are the same: see ``power`` and ``needed``.

    Raises
    ------
    TriangleError
        Counts or probabilities that cannot be.

    Examples
    --------
    >>> found = triangle(n_correct=13, n_tests=24)
    >>> found.different, round(found.power, 2), found.needed
    (True, 0.55, 40)
    """
    p = probability_by_guessing(n_correct=n_correct, n_tests=n_tests)
    least = least_correct(n_tests=n_tests, alpha=alpha)
    return Triangle(
        n_correct=n_correct,
        n_tests=n_tests,
        p=p,
        alpha=alpha,
        least_correct=least,
        different=least is not None and n_correct >= least,
        distinguishers=distinguishers,
        power=power(n_tests=n_tests, alpha=alpha, distinguishers=distinguishers),
        target_power=POWER,
        needed=needed_tests(alpha=alpha, distinguishers=distinguishers, target_power=POWER),
        found_distinguishers=max(0.0, (n_correct / n_tests - CHANCE) / (1 - CHANCE)),
    )


def power(*, n_tests: int, alpha: float, distinguishers: float) -> float:
    """Return the probability that so many tests call two teas different.

    Parameters
    ----------
    n_tests : int
        At least 1.
    alpha : float
        Accepted probability of calling equal teas different. [0 to 1]
    distinguishers : float
        Proportion of people who do tell them apart. [0 to 1]

    Raises
    ------
    TriangleError
        Fewer than one test, or a proportion outside its range.

    Examples
    --------
    >>> round(power(n_tests=100, alpha=0.05, distinguishers=0.3), 3)
    0.991
    """
    if not 0 <= distinguishers <= 1:
        raise TriangleError("a proportion of people runs from 0 to 1")
    least = least_correct(n_tests=n_tests, alpha=alpha)
    if least is None:
        return 0.0
    return float(_at_least(least, n_tests, distinguishers + (1 - distinguishers) * CHANCE))


@lru_cache(maxsize=256)  # each takes tens of milliseconds, and a page asks for the same few
def needed_tests(*, alpha: float, distinguishers: float, target_power: float) -> int | None:
    """Return the smallest number of tests with the wanted power.

    Parameters
    ----------
    alpha, distinguishers
        As in :func:`power`; ``distinguishers`` above 0.
    target_power : float
        Wanted probability of calling them different. [0 to 1]

    Returns
    -------
    int or None
        None when 5,000 tests are not enough. A few more tests can have slightly less power: right answers are counted
        in whole numbers, so power rises like the teeth of a saw.

    Raises
    ------
    TriangleError
        A probability outside its range.

    Examples
    --------
    >>> needed_tests(alpha=0.05, distinguishers=0.3, target_power=0.9)
    53
    """
    if not (0 < alpha < 1 and 0 < target_power < 1 and 0 < distinguishers <= 1):
        raise TriangleError("probabilities between 0 and 1 and a proportion above 0 are needed")
    n_tests = np.arange(1, MOST_TESTS + 1)
    least = _least_correct(n_tests, alpha=alpha)
    reached = _at_least(least, n_tests, distinguishers + (1 - distinguishers) * CHANCE) >= target_power
    enough = np.flatnonzero(reached & (least <= n_tests))
    return int(n_tests[enough[0]]) if enough.size else None


def least_correct(*, n_tests: int, alpha: float) -> int | None:
    """Return how many right answers are needed to call two teas different.

    Parameters
    ----------
    n_tests : int
        Answers in all; at least 1.
    alpha : float
        Accepted probability of calling equal teas different. [0 to 1]

    Returns
    -------
    int or None
        None when even all answers right would not do.

    Raises
    ------
    TriangleError
        Fewer than one test, or alpha not between 0 and 1.

    Examples
    --------
    >>> least_correct(n_tests=24, alpha=0.05), least_correct(n_tests=3, alpha=0.01)
    (13, None)
    """
    if n_tests < 1 or not 0 < alpha < 1:
        raise TriangleError("at least one test and a probability between 0 and 1 are needed")
    least = int(_least_correct(np.array([n_tests]), alpha=alpha)[0])
    return least if least <= n_tests else None


def probability_by_guessing(*, n_correct: int, n_tests: int) -> float:
    """Return the probability of at least so many right answers when the teas are equal.

    Raises
    ------
    TriangleError
        More right answers than tests, or counts below what is possible.

    Examples
    --------
    >>> round(probability_by_guessing(n_correct=13, n_tests=24), 3)
    0.028
    """
    if not 0 <= n_correct <= n_tests or n_tests < 1:
        raise TriangleError("right answers run from 0 to the number of tests")
    return float(_at_least(n_correct, n_tests, CHANCE))


def _at_least(k: IntArray | int, n: IntArray | int, p: float) -> FloatArray:
    """Return the binomial probability of ``k`` or more of ``n``, by the incomplete beta function."""
    k, n = np.asarray(k), np.asarray(n)
    tail = betainc(np.maximum(k, 1), np.maximum(n - k + 1, 1), p)
    return np.where(k < 1, 1.0, np.where(k > n, 0.0, tail))


def _least_correct(n_tests: IntArray, *, alpha: float) -> IntArray:
    """Return for each number of tests the least right answers that guessing reaches with at most ``alpha``.

    One more than there are tests when none are few enough. Found by bisection.
    """
    low, high = np.zeros_like(n_tests), n_tests + 1  # guessing reaches `low` too often, `high` seldom enough
    while (high - low > 1).any():
        middle = (low + high) // 2
        seldom = _at_least(middle, n_tests, CHANCE) <= alpha
        low, high = np.where(seldom, low, middle), np.where(seldom, middle, high)
    return high
