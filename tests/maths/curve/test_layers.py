import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from tastings.maths.curve.layers import find_layers, richness

weights = arrays(np.float64, st.integers(1, 12), elements=st.just(0.0) | st.floats(1e-6, 10))


def test_flavours_lead_come_and_go():
    found = find_layers(
        {
            "floral": np.array([5.0, 3.0, 0.5]),
            "honey": np.array([0.5, 2.0, 3.0]),
            "mineral": np.array([1.2, 1.2, 1.2]),
            "strength": np.array([9.0, 9.0, 9.0]),
        },
        infusions=3,
    )
    assert [one.leading for one in found] == [("floral",), ("floral", "honey"), ("honey",)]
    assert [one.new for one in found] == [("floral", "mineral"), ("honey",), ()]
    assert [one.gone for one in found] == [(), (), ("floral",)]


def test_flavour_that_one_cup_lacks_is_neither_gone_nor_new():
    honey = np.array([2.0, 0.9, 1.1, 0.9, 0.9, 1.1, 0.9])
    found = find_layers({"honey": honey}, infusions=7)
    assert [one.new for one in found] == [("honey",), (), (), (), (), ("honey",), ()]
    assert [one.gone for one in found] == [(), (), (), ("honey",), (), (), ("honey",)]
    assert [one.richness for one in found] == pytest.approx([1, 0, 1, 0, 0, 1, 0])


def test_no_flavour_is_no_layer():
    assert find_layers({}, infusions=2)[1].richness == 0.0
    assert find_layers({"strength": np.array([5.0])}, infusions=1)[0].leading == ()


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
