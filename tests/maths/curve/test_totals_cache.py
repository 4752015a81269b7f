from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tastings.maths.curve.estimate import estimate_development
from tastings.maths.curve.sufficient_statistics import sum_sessions
from tastings.maths.curve.totals_cache import SESSION_BYTES, TOTALS_CACHE, TotalsCache
from tests.maths.brewed import brew_of
from tests.maths.curve.test_sufficient_statistics import GRID, sessions

ANN = ("strength", "ann")
POOL = sessions(["ann"] * 12)
ONE_TOTAL = sum_sessions([], grid=GRID).nbytes


def totals_of(cache, some, *, group=ANN):
    return cache.totals({group: some}, grid=GRID)[group]


def test_new_session_costs_only_its_own_statistics():
    cache = TotalsCache()
    totals_of(cache, POOL[:10])
    assert cache.n_computed == 10
    assert np.array_equal(totals_of(cache, POOL[:11]), sum_sessions(POOL[:11], grid=GRID))
    assert cache.n_computed == 11


def test_edit_costs_two_and_the_same_sessions_nothing():
    cache = TotalsCache()
    totals_of(cache, POOL[:10])
    edited = [replace(POOL[0], ratings=POOL[0].ratings + 0.5), *POOL[1:10]]
    assert np.array_equal(totals_of(cache, edited), sum_sessions(edited, grid=GRID))
    assert cache.n_computed == 12
    assert np.array_equal(totals_of(cache, edited[::-1]), sum_sessions(edited, grid=GRID))
    assert cache.n_computed == 12


@settings(max_examples=60)
@given(st.lists(st.lists(st.integers(0, 11), max_size=12), min_size=1, max_size=8))
def test_totals_equal_a_cold_sum_bit_for_bit_after_any_requests(requests):
    # Indices may repeat: sessions of equal content are counted twice.
    cache = TotalsCache(max_bytes=2 * ONE_TOTAL + 20 * SESSION_BYTES)
    for indices in requests:
        some = [POOL[i] for i in indices]
        assert np.array_equal(totals_of(cache, some), sum_sessions(some, grid=GRID))
        assert cache.n_bytes <= cache.max_bytes


def test_least_recently_used_total_is_evicted_first():
    cache = TotalsCache(max_bytes=2 * ONE_TOTAL + 10 * SESSION_BYTES)
    for name in ("first", "second", "first", "third"):
        totals_of(cache, POOL[:5], group=("strength", name))
    assert cache.n_computed == 15
    totals_of(cache, POOL[:5], group=("strength", "first"))
    assert cache.n_computed == 15
    totals_of(cache, POOL[:5], group=("strength", "second"))
    assert cache.n_computed == 20


def test_total_too_large_to_cache_is_still_right():
    cache = TotalsCache(max_bytes=ONE_TOTAL)
    assert np.array_equal(totals_of(cache, POOL), sum_sessions(POOL, grid=GRID))
    assert cache.n_bytes == 0


def test_groups_do_not_mix():
    cache = TotalsCache()
    found = cache.totals({ANN: POOL[:3], ("sweetness", "ann"): POOL[1:4], ("strength", "ben"): []}, grid=GRID)
    assert np.array_equal(found["sweetness", "ann"], sum_sessions(POOL[1:4], grid=GRID))
    assert not found["strength", "ben"].any()


def test_cached_totals_are_read_only():
    found = totals_of(TotalsCache(), POOL[:2])
    with pytest.raises(ValueError, match="read-only"):
        found += 1


def test_refit_of_a_lot_equals_a_cold_fit_in_every_bit():
    lot = [
        brew_of(f"s{i}", taster=f"t{i % 3}", strength=[5 + i % 2, 6, 6, 5.5, 4.5, 10 * (i % 4 == 0)]) for i in range(9)
    ]
    edited = [replace(lot[2], leaf_g=6.0), *lot[:2], *lot[4:]]
    TOTALS_CACHE.clear()
    versions = (lot[:8], lot, edited)
    cold = [estimate_development(one, rated=["strength"]) for one in versions if TOTALS_CACHE.clear() is None]
    warm = [estimate_development(one, rated=["strength"]) for one in versions]
    assert warm == cold
