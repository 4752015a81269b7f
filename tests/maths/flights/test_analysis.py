"""The analysis of a blind flight: laws it keeps, and flights that say little."""

import json
from dataclasses import replace
from math import isfinite

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tastings.figures import from_stored, to_stored
from tastings.maths.flights.analysis import analyse_flight
from tastings.maths.flights.cups import Cup, CupError, mean_scores, repeatability, served_cups
from tastings.maths.flights.ranking import RankingError
from tastings.maths.flights.result import SETTLED, FlightResult
from tastings.maths.flights.williams import williams_square
from tests.examples import examples


def flight(*, start=0, lots="abcdefgh", tasters=4, spread=1.0, noise=0.6, carry=0.0, twice=()):
    """Taste a flight in the orders of a Williams square, lots worth evenly less from the first to the last."""
    rng = np.random.default_rng([31, start])
    orders = williams_square(len(lots))
    cups = []
    for taster in range(tasters):
        served = [lots[place] for place in orders[taster % len(orders)]] + list(twice)
        worth = [spread * (len(lots) / 2 - lots.index(lot)) / len(lots) * 3 for lot in served]
        shift = rng.normal(0, 0.7)
        for place, lot in enumerate(served):
            before = carry * worth[place - 1] if place else 0.0
            score = 5.5 + shift + worth[place] + before + rng.normal(0, noise)
            rounded = float(np.clip(np.round(2 * score) / 2, 0, 10))
            cups.append(Cup(lot, f"taster {taster}", f"sitting {taster}", place + 1, rounded))
    return cups


def figures(value):
    """Give every number in plain types."""
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list | tuple):
        return [number for part in value for number in figures(part)]
    return [value] if isinstance(value, int | float) else []


def means(found):
    return {one.lot: one.mean for one in found.standings}


@settings(max_examples=examples(2, of=4))
@given(st.integers(0, 100), st.randoms(use_true_random=False))
def test_order_of_cups_changes_no_figure(start, shuffler):
    cups = flight(start=start, twice="a")
    mixed = list(cups)
    shuffler.shuffle(mixed)
    assert analyse_flight(mixed, scale=10, seed=1) == analyse_flight(cups, scale=10, seed=1)


@settings(max_examples=examples(2, of=4))
@given(st.integers(0, 100), st.permutations("abcdefgh"))
def test_names_of_lots_change_no_figure_but_the_names(start, names):
    cups = flight(start=start)
    called = dict(zip("abcdefgh", names, strict=True))
    renamed = analyse_flight([replace(one, lot=called[one.lot]) for one in cups], scale=10, seed=1)
    found = analyse_flight(cups, scale=10, seed=1)
    assert means(renamed) == {called[lot]: mean for lot, mean in means(found).items()}
    assert renamed.friedman.statistic == pytest.approx(found.friedman.statistic)
    assert [one.p_best for one in renamed.standings] == [one.p_best for one in found.standings]


@pytest.mark.parametrize("start", range(examples(1, of=3)))
def test_a_point_more_from_one_taster_moves_lots_little(start):
    cups = flight(start=start, spread=0.6)
    more = [replace(one, score=one.score + (one.taster == "taster 1")) for one in cups if one.score <= 9]
    less = [one for one in cups if one.score <= 9]
    found, moved = analyse_flight(less, scale=10, seed=1), analyse_flight(more, scale=10, seed=1)
    level = np.mean(list(means(moved).values())) - np.mean(list(means(found).values()))
    assert level == pytest.approx(0.25, abs=0.05)
    for lot, mean in means(found).items():
        assert means(moved)[lot] - mean == pytest.approx(level, abs=0.1)
    assert moved.friedman == found.friedman


def test_scale_of_points_only_scales_the_answer():
    cups = flight()
    by_ten = analyse_flight([replace(one, score=10 * one.score) for one in cups], scale=100, seed=1)
    found = analyse_flight(cups, scale=10, seed=1)
    assert means(by_ten) == pytest.approx({lot: 10 * mean for lot, mean in means(found).items()})
    assert by_ten.friedman == found.friedman


def test_clear_flight_is_settled():
    found = analyse_flight(flight(spread=2.0, noise=0.2), scale=10, seed=1)
    assert found.settled
    assert [one.lot for one in found.standings] == list("abcdefgh")
    assert found.standings[0].p_best >= SETTLED
    assert ("a", "h") in found.differ
    assert found.kendall_w > 0.9
    assert found.expected_loss < 0.05


def test_muddled_flight_is_not_settled_and_asks_for_more_cups():
    found = analyse_flight(flight(spread=0.1, noise=1.0), scale=10, seed=1)
    assert not found.settled
    assert found.next[0].gain_p_right > 0.02


def test_probabilities_sum_to_the_places_there_are():
    found = analyse_flight(flight(), scale=10, seed=1)
    assert sum(one.p_best for one in found.standings) == pytest.approx(1)
    assert sum(one.p_top_three for one in found.standings) == pytest.approx(3)
    assert all(one.low < one.mean < one.high for one in found.standings)


def test_untidy_taster_pulls_less():
    # Three tasters agree that a > b > c > d; the fourth says the opposite, and much louder noise is the better story.
    cups = []
    for taster in range(3):
        cups += [Cup(lot, str(taster), f"{taster} {again}", place + 1, 8 - 2 * "abcd".index(lot))
                 for again in range(2) for place, lot in enumerate(np.roll(list("abcd"), taster + again))]  # fmt: skip
    cups += [Cup(lot, "3", "3 0", place + 1, 2 + 2 * place) for place, lot in enumerate("abcd")]
    found = analyse_flight(cups, scale=10, seed=1)
    noise = {one.taster: one.noise.mean for one in found.tasters}
    assert [one.lot for one in found.standings] == list("abcd")
    assert noise["3"] > 1.3 * max(noise[taster] for taster in "012")


def test_carry_over_and_drift_are_found():
    cups = flight(tasters=16, spread=1.5, noise=0.3, carry=-0.3)
    drifting = [replace(one, score=max(one.score - 0.1 * (one.position - 1), 0.0)) for one in cups]
    found = analyse_flight(drifting, scale=10, seed=1)
    assert found.carry_over.mean == pytest.approx(-0.3, abs=0.08)
    assert found.carry_over.high < 0
    assert found.position.mean == pytest.approx(-0.1, abs=0.05)
    assert found.position.high < 0


def test_hidden_duplicates_give_repeatability():
    cups = [Cup("a", "t", "s", 1, 6.0), Cup("b", "t", "s", 2, 4.0), Cup("a", "t", "s", 3, 7.0),
            Cup("a", "u", "v", 1, 5.0), Cup("b", "u", "v", 2, 5.0), Cup("a", "u", "v", 3, 5.0)]  # fmt: skip
    # Two pairs, differences 1 and 0: sqrt((0.5 + 0) / 2).
    assert repeatability(cups) == (pytest.approx(0.5), {"t": pytest.approx(0.5**0.5), "u": 0.0})
    found = analyse_flight(cups, scale=10, seed=1)
    assert found.repeatability_sd == pytest.approx(0.5)
    assert {one.taster: one.repeatability_sd for one in found.tasters} == {"t": pytest.approx(0.5**0.5), "u": 0.0}
    assert found.spreads.taste_sd is not None
    assert repeatability(cups[:2]) == (None, {})
    assert mean_scores(cups)["t"] == {"a": 6.5, "b": 4.0}


def test_control_is_analysed_but_cannot_be_chosen():
    found = analyse_flight(flight(spread=2.0, noise=0.2), scale=10, seed=1, controls=["a"])
    assert [one.lot for one in found.controls] == ["a"]
    assert "a" not in means(found)
    assert found.standings[0].lot == "b"
    assert sum(one.p_best for one in found.standings) == pytest.approx(1)
    assert all("a" not in one.lots for one in found.next)


def test_lot_without_a_cup_is_unknown():
    found = analyse_flight(flight(), scale=10, seed=1, lots="abcdefghi")
    unknown = next(one for one in found.standings if one.lot == "i")
    assert (unknown.cups, unknown.raw_mean) == (0, None)
    assert unknown.high - unknown.low > max(one.high - one.low for one in found.standings if one.cups)


def test_expected_order_is_tested():
    cups = flight(spread=2.0, noise=0.2)
    assert analyse_flight(cups, scale=10, seed=1).page is None
    assert analyse_flight(cups, scale=10, seed=1, expected_order="abcdefgh").page.p < 0.001
    assert analyse_flight(cups, scale=10, seed=1, expected_order="hgfedcba").page.p > 0.99
    with pytest.raises(RankingError):
        analyse_flight(cups, scale=10, seed=1, expected_order="aab")


def test_without_cups_there_is_nothing_to_say():
    found = analyse_flight([], scale=10, seed=1, lots="ab")
    assert found.standings == ()
    json.dumps(to_stored(found), allow_nan=False)


def test_one_lot_is_no_choice():
    found = analyse_flight([Cup("a", "t", "s", 1, 7.0)], scale=10, seed=1)
    assert not found.settled
    assert found.next == ()


def test_three_cups_of_one_taster_lean_toward_the_scores_and_no_further():
    found = analyse_flight([Cup(lot, "t", "s", place + 1, score) for place, (lot, score) in enumerate(zip("abc", (5, 8, 6), strict=True))], scale=10, seed=1)  # fmt: skip  # noqa: E501
    assert found.standings[0].lot == "b"
    assert 6 < found.standings[0].mean < 8
    assert 0.4 < found.standings[0].p_best < 0.95
    assert (found.friedman, found.kendall_w, found.repeatability_sd, found.spreads.shift_sd) == (None,) * 4


def test_constant_scores_tell_nothing_apart():
    cups = [replace(one, score=6.0) for one in flight(lots="abcd")]
    found = analyse_flight(cups, scale=10, seed=1)
    assert all(one.mean == pytest.approx(6, abs=0.05) for one in found.standings)
    assert all(0.1 < one.p_best < 0.45 for one in found.standings)
    assert (found.friedman, found.kendall_w, found.least_significant_difference, found.differ) == (None, None, None, ())
    assert found.expected_loss < 0.1


@settings(max_examples=examples(6, of=20))
@given(
    st.lists(
        st.tuples(st.sampled_from("abcd"), st.sampled_from("tuv"), st.integers(0, 1), st.integers(0, 20)),
        min_size=1,
        max_size=14,
    ),
    st.sampled_from([10, 100]),
)
def test_no_flight_gives_a_number_that_is_none(tasted, scale):
    counts = {}
    cups = []
    for lot, taster, number, half in tasted:
        sitting = f"{taster}{number}"
        counts[sitting] = counts.get(sitting, 0) + 1
        cups.append(Cup(lot, taster, sitting, counts[sitting], half / 20 * scale))
    found = analyse_flight(cups, scale=scale, seed=1, expected_order="abcd", lots="abcde", controls="d")
    plain = to_stored(found)
    json.dumps(plain, allow_nan=False)
    assert to_stored(from_stored(FlightResult, json.loads(json.dumps(plain)))) == plain
    assert all(isfinite(number) for number in figures(plain))
    assert all(one.gain >= 0 for one in found.next)
    assert found.expected_loss >= 0


@pytest.mark.parametrize(
    "cup",
    [
        Cup("a", "t", "s", 1, -0.5), Cup("a", "t", "s", 1, 10.5), Cup("a", "t", "s", 1, float("nan")),
        Cup("a", "t", "s", 0, 5.0), Cup("a", "t", "s", 2, 5.0), Cup("a", "u", "s", 3, 5.0),
    ],
)  # fmt: skip
def test_impossible_cup_is_refused(cup):
    with pytest.raises(CupError):
        analyse_flight([Cup("b", "t", "s", 2, 5.0), cup], scale=10, seed=1)


@pytest.mark.parametrize("scale", [0.0, -1.0, float("inf")])
def test_impossible_scale_is_refused(scale):
    with pytest.raises(CupError):
        served_cups([], scale=scale)


def test_previous_lot_is_the_one_tasted_before_in_the_sitting():
    cups = [
        Cup("a", "t", "s", 2, 5.0),
        Cup("b", "t", "s", 5, 5.0),
        Cup("c", "t", "r", 1, 5.0),
        Cup("a", "t", "r", 4, 5.0),
    ]
    served = served_cups(cups, scale=10)
    assert [served.lots[lot] for lot in served.lot] == ["c", "a", "a", "b"]
    assert served.previous.tolist() == [-1, 0, -1, 1]
