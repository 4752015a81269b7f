"""Williams squares: balance counted out. Source: Williams 1949, Aust J Sci Res A 2:149-168 (from memory)."""

import numpy as np
import pytest

from tastings.maths.flights.orders import count_orders
from tastings.maths.flights.williams import rows_for, williams_square


@pytest.mark.parametrize("t", range(2, 31))
def test_williams_square_is_balanced_for_place_and_for_the_thing_before(t):
    square = williams_square(t)

    times = 2 if t % 2 else 1
    found = count_orders(square, n_lots=t)
    assert len(square) == times * t
    assert all(sorted(row) == list(range(t)) for row in square)
    assert (found.places == times).all()
    assert (found.follows == times * (1 - np.eye(t, dtype=int))).all()


def test_williams_square_of_one_and_none():
    assert williams_square(1) == ((0,),)
    with pytest.raises(ValueError, match="at least one"):
        williams_square(0)


@pytest.mark.parametrize(("n", "t"), [(8, 4), (10, 5), (20, 5), (3, 6), (17, 6)])
def test_rows_for_are_as_balanced_as_their_number_allows(n, t):
    rows = rows_for(n, t=t, rng=np.random.default_rng(1))

    whole = n % (t if t % 2 == 0 else 2 * t) == 0
    found = count_orders(rows, n_lots=t)
    apart = found.follows[~np.eye(t, dtype=bool)]
    assert len(rows) == n
    assert np.ptp(found.places) == (0 if whole else 1)
    assert np.ptp(apart) == (0 if whole else 1)


def test_rows_for_a_few_sittings_of_an_odd_number_repeat_no_place():
    rows = rows_for(7, t=9, rng=np.random.default_rng(2))

    assert count_orders(rows, n_lots=9).places.max() == 1
