"""Which of several lots is the best."""

import numpy as np
import pytest

from tastings.maths.comparison.best import best_of, highest_of
from tastings.maths.comparison.side_by_side import Comparison, Difference, Pair

SD_BY_80 = 1.2815515655446004


def pair(first, second, mean, sd):
    half = SD_BY_80 * sd
    return Pair(first, second, 1, None, None, (Difference("liking", mean, mean - half, mean + half, 0.5),))


def test_highest_of_agrees_with_drawing():
    mean, variance = np.array([0.0, 0.3, 0.8]), np.array([1.0, 0.5, 0.2])
    drawn = np.random.default_rng(5).normal(mean, np.sqrt(variance), (200_000, 3)).argmax(axis=1)

    assert highest_of(mean, variance=variance) == pytest.approx(np.bincount(drawn) / drawn.size, abs=0.005)


def test_best_of_two_is_the_pairs_own_probability():
    found = best_of(Comparison({"a": None, "b": None}, (pair("a", "b", 0.5, 0.8),)), descriptor="liking")

    assert found["a"] == pytest.approx(0.734, abs=0.002)  # the normal distribution at 0.625, from any table
    assert found["a"] + found["b"] == pytest.approx(1)


def test_best_of_three_takes_means_and_variances_back_out_of_the_pairs():
    mean, variance = {"a": 6.0, "b": 6.5, "c": 5.0}, {"a": 0.2, "b": 0.4, "c": 0.1}
    pairs = tuple(
        pair(one, other, mean[one] - mean[other], (variance[one] + variance[other]) ** 0.5)
        for one, other in (("a", "b"), ("a", "c"), ("b", "c"))
    )
    found = best_of(Comparison(dict.fromkeys("abc"), pairs), descriptor="liking")

    expected = highest_of(list(mean.values()), variance=list(variance.values()))
    assert list(found.values()) == pytest.approx(expected, abs=1e-6)


def test_best_is_not_told_unless_all_were_rated():
    unrated = Pair("a", "b", 1, None, None, ())
    assert best_of(Comparison({"a": None, "b": None}, (unrated,)), descriptor="liking") == {}
