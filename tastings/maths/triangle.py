"""Triangle tests: can two teas be told apart when one of three cups is the odd one.

Source: ISO 4120:2021; its table is the exact upper tail of a binomial with one third.
"""

from scipy.stats import binom

CHANCE = 1 / 3


class TriangleError(ValueError):
    """Counts that no triangle test can have."""


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
    least = int(binom.isf(alpha, n_tests, CHANCE)) + 1
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
    return float(binom.sf(n_correct - 1, n_tests, CHANCE))
