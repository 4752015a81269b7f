import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from tastings.maths.curve.steep_count import count_worthwhile, unknown_count

cups = arrays(np.float64, st.tuples(st.integers(1, 40), st.integers(1, 12)), elements=st.floats(0, 10))


def test_recommended_is_the_last_infusion_above_the_line_in_half_of_the_draws():
    draws = np.array([[6.0, 4, 2, 1], [6.0, 4, 3, 1], [6.0, 4, 3, 3], [6.0, 4, 2, 1]])
    found = count_worthwhile(draws, finish_line=2.5)
    assert (found.recommended, found.low, found.high) == (3, 2, 4)


def test_weak_first_cup_does_not_end_the_count():
    assert count_worthwhile(np.array([[1.0, 3.0, 4.0, 2.0]])).recommended == 3


@given(cups)
def test_interval_is_ordered_and_within_the_even_brew(draws):
    found = count_worthwhile(draws)
    assert 0 <= found.low <= found.recommended <= found.high <= draws.shape[1]


def test_interval_is_the_narrowest_that_holds_four_draws_of_five():
    # Last infusions above the line: 2, 3, 3, 3, 3, 4, 4, 9, 11, 12; a central interval would be 3 to 11.
    last = np.array([2, 3, 3, 3, 3, 4, 4, 9, 11, 12])
    found = count_worthwhile(np.where(np.arange(1, 13) <= last[:, None], 5.0, 1.0))
    assert (found.recommended, found.low, found.high) == (4, 2, 9)


@given(cups, st.floats(0, 10), st.floats(0, 10))
def test_a_higher_line_never_asks_for_more_steeps(draws, one, other):
    low, high = sorted((one, other))
    assert count_worthwhile(draws, finish_line=high).recommended <= count_worthwhile(draws, finish_line=low).recommended


@given(cups)
def test_weights_repeat_draws(draws):
    weights = np.ones(len(draws))
    weights[0] = 3
    repeated = np.concatenate([draws[:1], draws[:1], draws])
    one, other = count_worthwhile(draws, weights=weights), count_worthwhile(repeated)
    assert (one.recommended, one.low, one.high) == (other.recommended, other.low, other.high)


def test_unrated_strength_has_no_count():
    found = unknown_count()
    assert (found.recommended, found.low, found.high, found.finish_line) == (None, None, None, pytest.approx(2.5))
