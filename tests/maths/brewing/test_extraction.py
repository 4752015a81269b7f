from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from tastings.maths.brewing.even_brew import even_brew
from tastings.maths.brewing.extraction import (
    DrawnLeaves,
    cup_strength,
    cup_strength_by_leaf,
    default_grid,
    extracted_shares,
    make_grid,
    perceived_strength,
)
from tastings.maths.brewing.heat import rates_of_pour, steeping_of

times = st.lists(st.floats(0.5, 3600), min_size=1, max_size=20)


def session(contacts_s):
    brew = even_brew(infusions=len(contacts_s))
    pours = tuple(replace(p, steep_s=c) for p, c in zip(brew.pours[1:], contacts_s, strict=True))
    return steeping_of(brew, pours)


@given(times, st.floats(0.03, 2.0), st.floats(2.0, 400.0))
def test_shares_never_sum_to_more_than_one(contacts_s, k_per_min, tau_s):
    found = extracted_shares(session(contacts_s), k_per_min=np.array([k_per_min]), tau_s=np.array([tau_s]))
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
                share = extracted_shares(steeping, k_per_min=np.array([k]), tau_s=np.array([tau]))[0, 0]
                assert found[i, j, m] == pytest.approx(perceived_strength(share / 0.08, n=np.array([n])), rel=1e-12)


def test_two_pours_take_as_much_as_one_of_their_length():
    whole, halves = session([60.0]), session([30.0, 30.0])
    even = replace(halves, rate=np.full(2, whole.rate[0]))
    k, tau = np.array([0.3]), np.array([25.0])
    assert extracted_shares(even, k_per_min=k, tau_s=tau).sum() == pytest.approx(
        extracted_shares(whole, k_per_min=k, tau_s=tau).sum(), rel=1e-12
    )


@given(st.floats(0.2, 5.0))
def test_more_leaf_in_the_same_water_counts_as_more_content(factor):
    steeping, grid = session([20, 20, 20]), make_grid(n_k=4, n_tau=3, n_n=3)
    scaled = cup_strength(replace(steeping, ratio=steeping.ratio * factor), grid=grid).reshape(4, 3, 3, -1)
    content = factor * extracted_shares(steeping, k_per_min=grid.k_per_min, tau_s=grid.tau_s) / 0.08
    for m, n in enumerate(grid.n):
        assert scaled[:, :, m] == pytest.approx(perceived_strength(content, n=np.array([n])), rel=1e-9)


@pytest.mark.parametrize("n", [0.2, 0.4, 0.7, 0.95, 1.0])
def test_taste_has_the_exponent_n_at_a_usual_cup(n):
    step = 1e-5
    low, usual, high = perceived_strength(np.exp([-step, 0.0, step]), n=np.array([n]))
    assert usual == 1.0
    assert np.log(high / low) / (2 * step) == pytest.approx(n, abs=1e-4)


@pytest.mark.parametrize("n", [0.2, 0.4, 0.7, 0.95])
def test_taste_is_in_proportion_when_weak_and_saturates_when_strong(n):
    content = np.geomspace(1e-6, 60, 200)
    exponent = np.diff(np.log(perceived_strength(content, n=np.array([n])))) / np.diff(np.log(content))
    assert exponent[0] == pytest.approx(1.0, abs=0.01)
    assert np.all(np.diff(exponent) < 0)
    assert exponent[-1] < n


def test_taste_of_exponent_one_is_the_content():
    content = np.geomspace(1e-3, 60, 50)
    assert perceived_strength(content, n=np.array([1.0])) == pytest.approx(content, rel=1e-4)


def test_part_of_a_grid_has_the_nodes_of_the_whole():
    whole = make_grid(n_k=5, n_tau=4, n_n=3)
    wanted = np.zeros(whole.n_nodes, dtype=bool)
    wanted[[7, 20, 33]] = True
    part, index = whole.around(wanted)
    assert np.all(np.isin([7, 20, 33], index))
    assert part.n_nodes == index.size < whole.n_nodes
    steeping = session([10, 20, 20])
    assert np.array_equal(cup_strength(steeping, grid=part), cup_strength(steeping, grid=whole)[index])
    assert np.array_equal(part.log_prior, whole.log_prior[index])


def test_prior_weights_sum_to_one():
    assert np.exp(default_grid().log_prior).sum() == pytest.approx(1.0, abs=1e-12)


def test_prior_of_a_node_is_the_density_over_the_steps_it_covers():
    """Densities of SciPy. The exponent of taste ends at 1, so its last node covers half a step."""
    makes = [(0.2, 45), (0.4, 22), (0.9, 9)]
    for form, some in (
        ("", makes),
        ("pressed", makes),
        ("rolled", makes[:1]),
        ("flat", makes[1:2]),
        ("powder", makes[2:]),
    ):
        grid = make_grid(n_k=9, n_tau=7, n_n=5, form=form)
        leaf = sum(
            norm.pdf(np.log(grid.k_per_min), np.log(k), 0.55)[:, None] * norm.pdf(np.log(grid.tau_s), np.log(tau), 0.7)
            for k, tau in some
        )
        n = norm.pdf(grid.n, 0.7, 0.25) * np.array([1, 1, 1, 1, 0.5])
        weights = (leaf[:, :, None] * n).ravel()
        assert np.exp(grid.log_prior) == pytest.approx(weights / weights.sum(), rel=1e-9)
        assert np.array_equal(grid.any_form, make_grid(n_k=9, n_tau=7, n_n=5).log_prior)


@given(times, st.lists(st.floats(0.5, 3600), min_size=1, max_size=4))
def test_next_pour_of_drawn_leaves_is_the_last_of_the_whole_session(before_s, next_s):
    leaves = {
        "k_per_min": np.array([0.05, 0.4, 2.0]),
        "tau_s": np.array([300.0, 22.0, 3.0]),
        "n": np.array([0.3, 0.7, 1]),
    }
    sessions = [session([*before_s, contact_s]) for contact_s in next_s]
    first = sessions[0]
    drawn = DrawnLeaves.after(first.contact_s[:-1], rate=first.rate[:-1], **leaves)
    rate = rates_of_pour(even_brew(), start_c=float(first.start_c[-1]), contact_s=np.array(next_s))
    found = drawn.strength_of_next(np.array(next_s), rate=rate, ratio=float(first.ratio[-1]))
    whole = np.stack([cup_strength_by_leaf(one, **leaves)[:, -1] for one in sessions], axis=1)
    assert found == pytest.approx(whole, rel=1e-6, abs=1e-9)
