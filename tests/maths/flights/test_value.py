"""Value against price, weighted scores, and what further cups are worth."""

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from tastings.maths.flights.analysis import analyse_flight
from tastings.maths.flights.cups import Cup, served_cups
from tastings.maths.flights.factors import COVERED_BOWL_WEIGHTS, FACTORS, FactorError, checked_weights, weighted_score
from tastings.maths.flights.further_cups import further_cups
from tastings.maths.flights.model import Draws
from tastings.maths.flights.standings import Standing
from tastings.maths.flights.value import PriceError, price_frontier
from tests.maths.flights.test_analysis import flight


def standing(lot, mean, *, half=0.5, p_best=0.0, cups=3):
    return Standing(lot, cups, mean, mean - half, mean + half, mean, p_best, p_top_three=0.0)


def test_lots_that_another_beats_on_both_are_off_the_frontier():
    found = price_frontier([standing("dear", 8), standing("poor", 6.5), standing("fair", 7), standing("cheap", 6)],
                  {"dear": 90, "fair": 40, "poor": 50, "cheap": 10})  # fmt: skip
    assert [(one.lot, one.on_frontier, one.beaten_by) for one in found] == [
        ("dear", True, None), ("poor", False, "fair"), ("fair", True, None), ("cheap", True, None),
    ]  # fmt: skip


def test_same_price_or_same_mean_is_beaten_by_what_is_better_otherwise():
    same_price = price_frontier([standing("a", 7), standing("b", 6)], {"a": 40, "b": 40})
    assert [one.beaten_by for one in same_price] == [None, "a"]
    same_mean = price_frontier([standing("a", 7), standing("b", 7)], {"a": 40, "b": 30})
    assert [one.beaten_by for one in same_mean] == ["b", None]
    alike = price_frontier([standing("a", 7), standing("b", 7)], {"a": 40, "b": 40})
    assert [one.on_frontier for one in alike] == [True, True]
    assert [one.p_on_frontier for one in alike] == pytest.approx([0.5, 0.5])


def test_lot_without_a_price_neither_beats_nor_is_beaten():
    found = price_frontier([standing("a", 9), standing("b", 6), standing("c", 5)], {"b": 10, "c": None})
    assert [(one.lot, one.price, one.on_frontier, one.p_on_frontier) for one in found] == [
        ("a", None, None, None), ("b", 10, True, 1.0), ("c", None, None, None),
    ]  # fmt: skip


def test_probability_of_the_frontier_is_that_of_simulation():
    stand = [standing("a", 7.2, half=0.6), standing("b", 7.0, half=0.3), standing("c", 6.5, half=0.9)]
    prices = {"a": 50, "b": 30, "c": 20}
    found = {one.lot: one.p_on_frontier for one in price_frontier(stand, prices)}
    rng = np.random.default_rng(5)
    draws = {one.lot: one.mean + (one.high - one.mean) / 1.2815515655 * rng.standard_normal(400_000) for one in stand}
    assert found["a"] == pytest.approx((draws["a"] > np.maximum(draws["b"], draws["c"])).mean(), abs=0.003)
    assert found["b"] == pytest.approx((draws["b"] > draws["c"]).mean(), abs=0.003)
    assert found["c"] == 1.0


@pytest.mark.parametrize("price", [-1.0, float("nan"), float("inf")])
def test_impossible_price_is_refused(price):
    with pytest.raises(PriceError):
        price_frontier([standing("a", 7)], {"a": price})


def test_preset_weights_cover_the_kinds_and_sum_to_a_hundred():
    # GB/T 23776-2018, from memory, not confirmed.
    assert set(COVERED_BOWL_WEIGHTS) == {"green", "white", "yellow", "oolong", "black", "dark", "scented"}
    for weights in COVERED_BOWL_WEIGHTS.values():
        assert tuple(weights) == FACTORS
        assert sum(weights.values()) == 100
        assert checked_weights(weights) == weights


def test_weighted_score_is_the_sum_over_factors():
    scores = {"dry_leaf": 80, "liquor_colour": 70, "aroma": 90, "taste": 60, "spent_leaf": 50}
    assert weighted_score(scores, {"taste": 100.0}) == 60
    assert weighted_score(scores, COVERED_BOWL_WEIGHTS["green"]) == pytest.approx(20 + 7 + 22.5 + 18 + 5)
    assert weighted_score(dict.fromkeys(FACTORS, 100.0), COVERED_BOWL_WEIGHTS["oolong"]) == 100


@pytest.mark.parametrize(
    ("scores", "weights"),
    [
        ({"taste": 60}, {"taste": 90.0}),
        ({"taste": 60}, {"taste": 110.0, "aroma": -10.0}),
        ({"taste": 60}, {"taste": 50.0, "aroma": 50.0}),
        ({"taste": 101}, {"taste": 100.0}),
        ({"taste": float("nan")}, {"taste": 100.0}),
        ({"taste": 60, "price": 5}, {"taste": 100.0}),
        ({"taste": 60}, {"taste": 50.0, "price": 50.0}),
        ({"taste": 60}, {"taste": float("nan")}),
    ],
)
def test_impossible_weights_or_scores_are_refused(scores, weights):
    with pytest.raises(FactorError):
        weighted_score(scores, weights)


def test_further_cups_go_to_the_lots_that_may_be_best():
    found = analyse_flight(flight(spread=1.0, noise=0.8), scale=10, seed=1)
    likely = {one.lot for one in found.standings if one.p_best > 0.05}
    assert set(found.next[0].lots) & likely
    assert found.next[0].tasters == ("taster 0", "taster 1", "taster 2", "taster 3")
    assert "h" not in found.next[0].lots
    assert {len(one.tasters) for one in found.next} == {1, 4}


def test_whole_team_tells_more_than_one_taster():
    further = analyse_flight(flight(spread=0.5, noise=0.8), scale=10, seed=1).next
    team = next(one for one in further if len(one.tasters) == 4)
    assert all(one.gain < team.gain for one in further if one.lots == team.lots and len(one.tasters) == 1)


@pytest.mark.parametrize(("ahead", "noise", "cups"), [(0.0, 1.0, 2), (0.5, 0.7, 4), (2.0, 1.5, 2)])
def test_gain_of_two_lots_is_the_knowledge_gradient(ahead, noise, cups):
    # Two independent normal lots of variance 1, tasted cups / 2 times each by one taster: the expected difference moves
    # by s, and the gain is s phi(d / s) - d Phi(-d / s) (Frazier, Powell and Dayanik 2009, equation from memory, high).
    n = 60_000
    rng = np.random.default_rng(8)
    lot = rng.standard_normal((n, 2)) + np.array([ahead / 2, -ahead / 2])
    zero, one = np.zeros(n), np.ones((n, 1))
    draws = Draws(
        level=zero, lot=lot, shift=one - 1, gain=one, carry_over=zero, position=zero, first_cup=zero, lot_sd=zero + 1,
        shift_sd=zero, sitting_sd=zero, gain_sd=zero, taste_sd=zero, noise_sd=zero + noise, taster_noise_sd=noise * one,
    )  # fmt: skip
    served = served_cups([Cup("a", "t", "s", 1, 5.0), Cup("b", "t", "s", 2, 5.0)], scale=10)
    (found,) = further_cups(draws, served=served, candidates=np.arange(2), cups=cups, rng=rng)
    s = 2 / (2 + 2 * noise**2 / (cups // 2)) ** 0.5
    assert (found.times, found.cups) == (cups // 2, cups)
    assert found.gain == pytest.approx(s * norm.pdf(ahead / s) - ahead * norm.cdf(-ahead / s), abs=0.01)
    # The lot chosen is the best when the expected difference has the sign of the true one, of variance 2.
    both = multivariate_normal([ahead, ahead], [[s * s, s * s], [s * s, 2.0]])
    expected = both.cdf([0.0, 0.0]) + 1 - norm.cdf(-ahead / s) - norm.cdf(-ahead / 2**0.5) + both.cdf([0.0, 0.0])
    assert found.p_right == pytest.approx(expected, abs=0.01)
