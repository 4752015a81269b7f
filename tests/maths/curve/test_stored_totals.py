from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tastings.maths.curve.estimate import estimate_development
from tastings.maths.curve.stored_totals import KEPT, SESSION_BYTES, Kept
from tastings.maths.curve.sufficient_statistics import added
from tests.maths.brewed import brew_of
from tests.maths.curve.test_sufficient_statistics import GRID, sessions

ANN = ("strength", "ann")
POOL = sessions(["ann"] * 12)
ONE_TOTAL = added([], grid=GRID).nbytes


def totals_of(store, some, *, group=ANN):
    return store.totals({group: some}, grid=GRID)[group]


def test_new_session_costs_only_its_own_sums():
    store = Kept()
    totals_of(store, POOL[:10])
    assert store.n_summed == 10
    assert np.array_equal(totals_of(store, POOL[:11]), added(POOL[:11], grid=GRID))
    assert store.n_summed == 11


def test_edit_costs_two_and_the_same_sessions_nothing():
    store = Kept()
    totals_of(store, POOL[:10])
    edited = [replace(POOL[0], ratings=POOL[0].ratings + 0.5), *POOL[1:10]]
    assert np.array_equal(totals_of(store, edited), added(edited, grid=GRID))
    assert store.n_summed == 12
    assert np.array_equal(totals_of(store, edited[::-1]), added(edited, grid=GRID))
    assert store.n_summed == 12


@settings(max_examples=60)
@given(st.lists(st.lists(st.integers(0, 11), max_size=12), min_size=1, max_size=8))
def test_whatever_was_asked_before_every_bit_is_that_of_a_cold_sum(asked):
    # Indices may repeat: two sessions of the same content are two.
    store = Kept(most_bytes=2 * ONE_TOTAL + 20 * SESSION_BYTES)
    for indices in asked:
        some = [POOL[i] for i in indices]
        assert np.array_equal(totals_of(store, some), added(some, grid=GRID))
        assert store.n_bytes <= store.most_bytes


def test_least_recently_used_total_goes_first():
    store = Kept(most_bytes=2 * ONE_TOTAL + 10 * SESSION_BYTES)
    for name in ("first", "second", "first", "third"):
        totals_of(store, POOL[:5], group=("strength", name))
    assert store.n_summed == 15
    totals_of(store, POOL[:5], group=("strength", "first"))
    assert store.n_summed == 15
    totals_of(store, POOL[:5], group=("strength", "second"))
    assert store.n_summed == 20


def test_total_too_large_to_keep_is_still_right():
    store = Kept(most_bytes=ONE_TOTAL)
    assert np.array_equal(totals_of(store, POOL), added(POOL, grid=GRID))
    assert store.n_bytes == 0


def test_groups_do_not_mix():
    store = Kept()
    found = store.totals({ANN: POOL[:3], ("sweetness", "ann"): POOL[1:4], ("strength", "ben"): []}, grid=GRID)
    assert np.array_equal(found["sweetness", "ann"], added(POOL[1:4], grid=GRID))
    assert not found["strength", "ben"].any()


def test_kept_totals_cannot_be_written_to():
    found = totals_of(Kept(), POOL[:2])
    with pytest.raises(ValueError, match="read-only"):
        found += 1


def test_refit_of_a_lot_equals_a_cold_fit_in_every_bit():
    lot = [
        brew_of(f"s{i}", taster=f"t{i % 3}", strength=[5 + i % 2, 6, 6, 5.5, 4.5, 10 * (i % 4 == 0)]) for i in range(9)
    ]
    edited = [replace(lot[2], leaf_g=6.0), *lot[:2], *lot[4:]]
    KEPT.forget()
    cold = [estimate_development(some, rated=["strength"]) for some in (lot[:8], lot, edited) if KEPT.forget() is None]
    warm = [estimate_development(some, rated=["strength"]) for some in (lot[:8], lot, edited)]
    assert warm == cold
