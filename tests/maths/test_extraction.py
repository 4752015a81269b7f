from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tastings.maths.brewing import even_brew, steeped
from tastings.maths.extraction import cup_strength, make_grid, shares, usual_grid

times = st.lists(st.floats(0.5, 3600), min_size=1, max_size=20)


def session(contacts_s):
    brew = even_brew(infusions=len(contacts_s))
    pours = tuple(replace(p, steep_s=c) for p, c in zip(brew.pours[1:], contacts_s, strict=True))
    return steeped(brew, pours)


@given(times, st.floats(0.03, 2.0), st.floats(2.0, 400.0))
def test_leaf_never_gives_more_than_it_holds(contacts_s, k_per_min, tau_s):
    found = shares(session(contacts_s), k_per_min=np.array([k_per_min]), tau_s=np.array([tau_s]))
    assert np.all(found >= 0)
    assert found.sum() <= 1 + 1e-12


@given(times)
def test_cups_are_finite_and_above_zero(contacts_s):
    found = cup_strength(session(contacts_s), grid=make_grid(n_k=5, n_tau=5, n_n=3))
    assert np.all(np.isfinite(found))
    assert np.all(found > 0)


def test_grid_equals_one_node_at_a_time():
    grid = make_grid(n_k=3, n_tau=4, n_n=2)
    steeping = session([10, 20, 20, 40])
    found = cup_strength(steeping, grid=grid).reshape(3, 4, 2, -1)
    for i, k in enumerate(grid.k_per_min):
        for j, tau in enumerate(grid.tau_s):
            for m, n in enumerate(grid.n):
                share = shares(steeping, k_per_min=np.array([k]), tau_s=np.array([tau]))[0, 0]
                assert found[i, j, m] == pytest.approx((share / 0.08) ** n, rel=1e-12)


def test_two_pours_take_as_much_as_one_of_their_length():
    whole, halves = session([60.0]), session([30.0, 30.0])
    even = replace(halves, rate=np.full(2, whole.rate[0]))
    k, tau = np.array([0.3]), np.array([25.0])
    assert shares(even, k_per_min=k, tau_s=tau).sum() == pytest.approx(
        shares(whole, k_per_min=k, tau_s=tau).sum(), rel=1e-12
    )


@given(st.floats(0.2, 5.0))
def test_more_leaf_in_the_same_water_scales_every_cup_by_a_power(factor):
    steeping, grid = session([20, 20, 20]), make_grid(n_k=4, n_tau=3, n_n=3)
    scaled = cup_strength(replace(steeping, ratio=steeping.ratio * factor), grid=grid)
    power = np.tile(factor**grid.n, 4 * 3)[:, None]
    assert scaled == pytest.approx(cup_strength(steeping, grid=grid) * power, rel=1e-9)


def test_prior_weights_sum_to_one():
    assert np.exp(usual_grid().log_prior).sum() == pytest.approx(1.0, abs=1e-12)
