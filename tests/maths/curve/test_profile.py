import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from tastings.maths.curve.profile import (
    LABELS,
    curve_shapes,
    curve_tail,
    summarise_cups,
    undecided_profile,
    weighted_profile,
    weighted_quantile,
)

EVEN_PRIOR = np.full(len(LABELS), 1 / len(LABELS))
curves = arrays(np.float64, st.tuples(st.integers(1, 5), st.integers(5, 12)), elements=st.floats(0.01, 10))


def label_of(*strength):
    return LABELS[curve_shapes(np.array([strength], dtype=np.float64)).label[0]]


@pytest.mark.parametrize(
    ("strength", "label"),
    [
        ((4.0, 4.4, 4.6, 4.5, 4.0, 3.0), "build_up"),  # peak at 3, 1.15 times the first
        ((4.0, 4.4, 4.59, 4.5, 4.0, 3.0), "steady"),  # a hair less rise
        ((4.0, 6.0, 5.5, 5.0, 4.5, 4.0), "steady"),  # peak at 2 is too early to be a build-up
        ((8.0, 6.0, 5.0, 4.1, 3.9, 3.0), "quick_fade"),  # below half at 5
        ((8.0, 6.0, 5.0, 4.5, 4.0, 3.9), "slow_fade"),  # exactly half at 5, below at 6
        ((8.0, 7.5, 7.0, 6.5, 6.0, 5.0, 4.5, 3.9, 3.0), "slow_fade"),  # below half at 8
        ((8.0, 7.5, 7.0, 6.5, 6.0, 5.0, 4.5, 4.0, 3.9), "steady"),  # exactly half at 8, below at 9
        ((8.3, 7.8, 6.9, 6.0, 5.1, 4.4, 3.7, 3.1, 2.6, 2.2, 1.8, 1.4), "slow_fade"),
        ((3.0, 4.0, 9.0, 4.0, 3.0, 2.0), "build_up"),  # a build-up that also fades is a build-up
    ],
)
def test_label_follows_the_contract(strength, label):
    assert label_of(*strength) == label


@given(curves, st.floats(0.1, 10))
def test_shape_does_not_depend_on_the_unit(strength, factor):
    one, other = curve_shapes(strength), curve_shapes(strength * factor)
    assert one.peak == pytest.approx(other.peak)
    assert one.rise == pytest.approx(other.rise, rel=1e-9)


@given(arrays(np.int64, 30, elements=st.integers(0, 3)), arrays(np.float64, 30, elements=st.floats(0.01, 1)))
def test_probabilities_sum_to_one(label, weights):
    table = {
        0: [1.0, 2, 3, 3, 3, 3],
        1: [3.0, 3, 3, 3, 3, 3],
        2: [3.0, 3, 3, 3, 2, 1],
        3: [3.0, 2, 1, 1, 1, 1],
    }
    shapes = curve_shapes(np.array([table[i] for i in label.tolist()]))
    found = weighted_profile(shapes, weights=weights, prior=EVEN_PRIOR)
    assert sum(found.probability.values()) == pytest.approx(1.0)
    best = max(found.probability, key=found.probability.get)
    assert found.label == (best if found.probability[best] >= 0.6 else "undecided")


def test_no_label_is_certain_or_impossible():
    found = weighted_profile(curve_shapes(np.array([[8.0, 6, 3, 2, 1]])), weights=np.ones(1), prior=EVEN_PRIOR)
    assert found.label == "quick_fade"
    assert [round(p, 3) for p in found.probability.values()] == [0.001, 0.001, 0.001, 0.997]


def test_medians_come_from_the_weights():
    found = weighted_profile(
        curve_shapes(np.array([[8.0, 6, 3, 2, 1], [4.0, 5, 6, 6, 6]])),
        weights=np.array([0.3, 0.7]),
        prior=EVEN_PRIOR,
    )
    assert (found.label, found.peak_infusion, found.rise, found.half_strength_infusion) == ("build_up", 3, 1.5, None)


@pytest.mark.parametrize(("prior", "label"), [(0.34, "build_up"), (0.37, "undecided"), (0.685, "undecided")])
def test_label_needs_three_times_the_odds_it_had_before_the_tasting(prior, label):
    """0.62 has odds of 1.6: three times those of 0.35. What was likely before is not evidence."""
    shapes = curve_shapes(np.array([[8.0, 6, 3, 2, 1], [4.0, 5, 6, 6, 6]]))
    found = weighted_profile(shapes, weights=np.array([0.38, 0.62]), prior=np.array([prior, 0.1, 0.1, 0.8 - prior]))
    assert found.label == label


def test_nothing_known_is_a_quarter_each():
    assert undecided_profile().probability == pytest.approx(dict.fromkeys(LABELS, 1 / 4))


def test_quantile_may_be_beyond_the_last_infusion():
    values = np.array([4.0, np.inf, np.inf])
    assert weighted_quantile(values, weights=np.array([1.0, 1.0, 1.0]), level=0.5) == np.inf


def test_interval_contains_eighty_percent_of_the_draws():
    cups = np.linspace(0, 10, 1001)[:, None] * np.ones(3)
    found = summarise_cups(cups)
    assert found.mean == pytest.approx(5.0)
    assert found.low == pytest.approx(1.0)
    assert found.high == pytest.approx(9.0)
    assert summarise_cups(cups, tail=0.25).high == pytest.approx(7.5)


def test_mean_stays_in_the_central_eighty_percent_and_the_narrower_interval_reaches_to_it():
    cups = np.linspace(0, 10, 1001)[:, None]
    in_mean = (cups > 8.5)[:, 0]  # their mean is 9.25
    found = summarise_cups(cups, in_mean=in_mean, tail=0.25)
    assert (found.low[0], found.mean[0], found.high[0]) == pytest.approx((2.5, 9.0, 9.0))
    assert summarise_cups(10 - cups, in_mean=in_mean, tail=0.25).low == pytest.approx(1.0)


def test_interval_of_one_session_leaves_out_more_draws():
    assert [curve_tail(n) for n in (1, 3, 30)] == pytest.approx([0.185, 0.1717, 0.1657], abs=1e-4)
