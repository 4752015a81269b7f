import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from tastings.maths.curve.layers import PRESENT, find_layers, noted_weights, rated_weights, richness

weights = arrays(np.float64, st.integers(1, 12), elements=st.just(0.0) | st.floats(1e-6, 10))


def test_flavours_lead_come_and_go():
    found = find_layers(
        {
            "floral": np.array([5.0, 3.0, 0.5]),
            "honey": np.array([0.5, 2.0, 3.0]),
            "mineral": np.array([1.2, 1.2, 1.2]),
            "strength": np.array([9.0, 9.0, 9.0]),
        }
    )
    assert [one.leading for one in found] == [("floral",), ("floral", "honey"), ("honey",)]
    assert [one.new for one in found] == [("floral", "mineral"), ("honey",), ()]
    assert [one.gone for one in found] == [(), (), ("floral",)]


def test_flavour_that_one_cup_lacks_is_neither_gone_nor_new():
    honey = np.array([2.0, 0.9, 1.1, 0.9, 0.9, 1.1, 0.9])
    found = find_layers({"honey": honey})
    assert [one.new for one in found] == [("honey",), (), (), (), (), ("honey",), ()]
    assert [one.gone for one in found] == [(), (), (), ("honey",), (), (), ("honey",)]
    assert [one.richness for one in found] == pytest.approx([1, 0, 1, 0, 0, 1, 0])


def presence_runs(present):
    return int(present[0]) + int(np.count_nonzero(~present[:-1] & present[1:]))


@pytest.mark.parametrize("sessions", [1, 2, 4, 8])
def test_shares_near_a_cup_steady_what_single_mentions_make_flicker(sessions):
    """A flavour is there from one cup to another; a taster notices it four times in five, elsewhere once in twelve."""
    rng = np.random.default_rng(sessions)
    right, right_plain, runs, runs_plain = [], [], 0, 0
    for _ in range(400):
        first, length = int(rng.integers(8)), int(rng.integers(2, 6))
        true = (np.arange(10) >= first) & (np.arange(10) < first + length)
        noted = (rng.random((sessions, 10)) < np.where(true, 0.8, 1 / 12)).sum(axis=0).astype(float)
        tasted = np.full(10, float(sessions))
        steadied, plain = (one >= PRESENT for one in (noted_weights(noted, tasted=tasted), 2.5 * noted / (tasted + 1)))
        right.append(np.mean(steadied == true))
        right_plain.append(np.mean(plain == true))
        runs += presence_runs(steadied)
        runs_plain += presence_runs(plain)
    assert runs < runs_plain or (sessions == 8 and runs == runs_plain)  # many ratings need no neighbours
    assert np.mean(right) >= np.mean(right_plain) - 0.005
    assert np.mean(right) > (0.8 if sessions == 1 else 0.87)


def test_single_mention_makes_no_layer():
    for place in range(5):
        noted = np.eye(5)[place]
        assert noted_weights(noted, tasted=np.ones(5)).max() < PRESENT
    assert noted_weights(np.ones(1), tasted=np.ones(1)).max() < PRESENT


def test_flavour_that_everybody_names_in_one_cup_only_is_a_layer():
    assert (noted_weights(np.array([4.0, 0.0, 0.0]), tasted=np.full(3, 4.0)) >= PRESENT).tolist() == [
        True,
        False,
        False,
    ]


def test_curve_of_a_single_rating_makes_no_layer():
    mean = np.array([6.0, 5.0, 4.0])
    assert rated_weights(mean, ratings=1).tolist() == [0, 0, 0]
    assert rated_weights(mean, ratings=2) == pytest.approx(mean * 2 / 3)


def test_no_flavour_is_no_layer():
    assert find_layers({"strength": np.array([5.0, 5.0])})[1].richness == 0.0
    assert find_layers({"strength": np.array([5.0])})[0].leading == ()


@given(weights)
def test_richness_counts_at_most_the_flavours_there(one):
    found = richness(one)
    assert 0 <= found <= np.count_nonzero(one) + 1e-9
    assert found >= (1 - 1e-9 if one.sum() > 0 else 0)


@given(weights, st.floats(0.01, 100))
def test_richness_does_not_depend_on_the_unit(one, factor):
    assert richness(one * factor) == pytest.approx(richness(one), rel=1e-6)


def test_richness_of_equal_flavours_is_their_number():
    assert richness(np.full(7, 0.3)) == pytest.approx(7.0)
