"""What is said of a flight: which lot is best, how sure that is, and what more tasting would change."""

import pytest

from tastings.maths.flights.analysis import analyse_flight
from tastings.maths.flights.cups import Cup
from tastings.maths.flights.further_cups import FurtherCups
from tastings.maths.flights.result import SETTLED, FlightResult
from tastings.maths.flights.standings import Standing
from tastings.wording.flight_result import result_sentences
from tests.maths.flights.test_analysis import flight


def standing(lot, mean, *, p_best, cups=3):
    return Standing(lot, cups, mean, mean - 0.5, mean + 0.5, mean, p_best, p_top_three=0.0)


def further(*tasters, lots=("1", "2"), times=1, p_right=0.75, gain=0.25):
    return FurtherCups(lots, times, tasters, len(lots) * times * len(tasters), 0.1, p_right, gain)


def sentences(*standings, settled=False, more=(), names=None):
    result = FlightResult(
        standings=standings, controls=(), settled=settled, settled_at=SETTLED, expected_loss=None, next=more,
        spreads=None, tasters=(), carry_over=None, position=None, first_cup=None, repeatability_sd=None, friedman=None,
        kendall_w=None, rank_sums=None, rank_sum_difference=None, page=None, least_significant_difference=None,
        differ=(), alpha=0.05,
    )  # fmt: skip
    return result_sentences(result, names=names or {})


def test_best_lot_is_called_by_its_name():
    text = sentences(
        standing("1", 7.5, p_best=0.9),
        standing("2", 7.0, p_best=0.1),
        settled=True,
        names={"1": "Spring lot", "2": "Other lot"},
    )

    assert text == (
        "Spring lot is the better of the two lots, 0.5 points above Other lot; that is right in 90 of 100 such cases."
    )


def test_lead_that_one_decimal_would_hide_is_put_in_words():
    close = standing("1", 7.04, p_best=0.9), standing("2", 7.0, p_best=0.06), standing("3", 6.0, p_best=0.04)
    assert sentences(*close, settled=True) == (
        "1 is the best of the three lots, hardly above 2; that is right in 90 of 100 such cases."
    )
    assert sentences(*close[:2], settled=True) == (
        "1 is the better of the two lots, hardly above 2; that is right in 90 of 100 such cases."
    )


def test_neither_never_nor_always_is_claimed():
    sure = sentences(standing("1", 9, p_best=1.0), standing("2", 5, p_best=0.0), settled=True)
    assert sure.endswith("right in 99 of 100 such cases.")
    open_question = sentences(standing("1", 7, p_best=0.9996), standing("2", 5, p_best=0.0004))
    assert open_question.endswith("is the best in 99 of 100 such cases, against 2 (1).")


def test_rivals_are_named_by_how_likely_they_are():
    text = sentences(
        standing("1", 7.5, p_best=0.5),
        standing("2", 7.0, p_best=0.15),
        standing("3", 6.9, p_best=0.3),
        standing("4", 5.0, p_best=0.05),
    )
    assert text == (
        "Which of the four lots is best cannot be told yet: 1 is ahead, 0.5 points above 2, and is the best in 50 of "
        "100 such cases, against 3 (30) and 2 (15)."
    )


def test_lots_that_are_alike_are_not_told_apart():
    alike = [standing(str(i), 7.0 - 0.01 * i, p_best=1 / 13) for i in range(13)]
    assert sentences(*alike) == "The 13 lots cannot be told apart by these cups; 0 is ahead, but only just."


@pytest.mark.parametrize(
    ("untasted", "words"), [("c", "c has not been tasted."), ("cd", "c and d have not been tasted.")]
)
def test_lots_without_a_cup_are_named(untasted, words):
    tasted = standing("a", 7, p_best=0.85), standing("b", 6, p_best=0.1)
    text = sentences(*tasted, *(standing(lot, 6, p_best=0.02, cups=0) for lot in untasted), settled=True)
    assert text.endswith(f"such cases. {words}")


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ([further("x")], "side by side once more, the lot then chosen"),
        ([further("x", times=2), further("y")], "side by side twice more by Xu, the lot then chosen"),
        ([further("x", "y", times=3)], "side by side three times more by all two tasters, the lot then chosen"),
    ],
)
def test_advice_says_how_often_and_who(more, words):
    text = sentences(standing("1", 7, p_best=0.6), standing("2", 6.9, p_best=0.4), more=tuple(more), names={"x": "Xu"})
    assert f" If 1 and 2 were tasted {words} could be expected to be the best in 75 of 100 cases instead of 50." in text


def test_little_gain_is_not_mentioned():
    text = sentences(standing("1", 7, p_best=0.6), standing("2", 6.9, p_best=0.4), more=(further("x", gain=0.019),))
    assert "side by side" not in text


def test_what_is_said_of_flights_as_they_are_tasted():
    assert result_sentences(analyse_flight([], scale=10, seed=1, lots="ab"), names={}) == "No cup has been tasted yet."
    one = analyse_flight([Cup("a", "t", "s", 1, 7.0)], scale=10, seed=1)
    assert result_sentences(one, names={}) == "Only a has been tasted, so there is nothing to choose between."
    clear = analyse_flight(flight(spread=2.0, noise=0.2), scale=10, seed=1)
    assert result_sentences(clear, names={}).startswith("a is the best of the eight lots, ")
    muddled = result_sentences(analyse_flight(flight(spread=0.1, noise=1.0), scale=10, seed=1), names={})
    assert "cannot be told" in muddled
    assert "side by side" in muddled
    untasted = analyse_flight(flight(), scale=10, seed=1, lots="abcdefghi")
    assert "i has not been tasted." in result_sentences(untasted, names={})
