from dataclasses import replace

import numpy as np
import pytest

from tastings.maths.brewing.extraction import default_grid
from tastings.maths.curve.evidence import prepare_sessions
from tastings.maths.curve.posterior import fit
from tastings.maths.curve.totals_cache import TOTALS_CACHE
from tastings.wording.left_out import left_out_reason
from tests.maths.brewed import brew_of, developed

BUILDING = (2.5, 4.5, 6.0, 6.5, 6.5, 6.0, 5.5, 5.0, 4.5)
FLAT = brew_of("flat", taster="joker", strength=[10] * 9)


def lot(*, n_sessions, noise=0.5):
    chance = np.random.default_rng(4)
    return [
        brew_of(f"s{i}", taster=f"t{i % 3}", strength=np.clip(np.array(BUILDING) + chance.normal(0, noise, 9), 0, 10))
        for i in range(n_sessions)
    ]


def outliers_of(brews):
    grid = default_grid()
    followed, _ = prepare_sessions(brews, grid=grid, scales={})
    found = fit([one.ratings_of("strength") for one in followed], grid=grid)
    return {brews[i].session for i in found.outliers}


def test_session_of_all_tens_is_left_out_and_named():
    found = developed([*lot(n_sessions=8), FLAT])
    assert [(one.session, one.infusion) for one in found.evidence.left_out] == [("flat", None)]
    assert found.evidence.left_out[0].reason == "outlier"
    assert "nothing like" in left_out_reason(found.evidence.left_out[0])
    assert {point.session for point in found.tasted} == {f"s{i}" for i in range(8)}


def test_curve_without_the_outlier_is_that_of_the_others():
    with_it, without = developed([*lot(n_sessions=8), FLAT]), developed(lot(n_sessions=8))
    assert with_it.curves == without.curves
    assert with_it.profile == without.profile


def test_other_descriptors_of_an_outlier_are_used():
    brews = [
        replace(brew, pours=tuple(replace(p, ratings={**p.ratings, "sweetness": 4.0}) for p in brew.pours))
        for brew in [*lot(n_sessions=8), FLAT]
    ]
    found = developed(brews, rated=["strength", "sweetness"])
    assert [point.n for point in found.curves[0].points[:9]] == [8] * 9
    assert [point.n for point in found.curves[1].points[:9]] == [9] * 9


def test_ordinary_sessions_are_no_outliers():
    assert outliers_of(lot(n_sessions=12, noise=1.0)) == set()


@pytest.mark.parametrize("n_others", [1, 2, 3])
def test_few_sessions_cannot_say_which_is_the_outlier(n_others):
    assert outliers_of([*lot(n_sessions=n_others), FLAT]) == set()


def test_generous_taster_is_no_outlier():
    generous = brew_of("g", taster="generous", strength=np.minimum(1.0 + 1.15 * np.array(BUILDING), 10))
    assert outliers_of([*lot(n_sessions=8), generous]) == set()


def test_two_outliers_are_left_out_one_after_the_other():
    fading = brew_of("fading", taster="other", strength=[10, 9, 6, 3, 1, 0.5, 0, 0, 0])
    assert outliers_of([*lot(n_sessions=10), FLAT, fading]) == {"flat", "fading"}


def test_at_most_a_quarter_of_the_sessions_is_left_out():
    shapes = {
        "late": (1, 1.5, 2, 3, 4, 5, 6, 7, 8),
        "fading": (8, 7, 6, 5, 4, 3, 2, 1.5, 1),
        "jagged": (2, 7, 3, 8, 4, 8, 3, 7, 3),
    }
    odd = [brew_of(name, taster=name, strength=shape) for name, shape in shapes.items()]
    assert outliers_of([*lot(n_sessions=8), *odd]) == {"late", "fading"}  # the most unlikely ones
    assert outliers_of([*lot(n_sessions=9), *odd]) == set(shapes)


def test_suspect_session_that_the_others_allow_stays():
    jagged = np.round(0.4 * np.array(BUILDING) + 0.6 * np.array([2, 7, 3, 8, 4, 8, 3, 7, 3]), 1)
    assert outliers_of([*lot(n_sessions=5), brew_of("mild", taster="odd", strength=jagged)]) == set()


def test_outliers_are_found_anew_from_kept_totals():
    brews = [*lot(n_sessions=8), FLAT]
    TOTALS_CACHE.clear()
    cold = developed(brews)
    assert developed(brews) == cold == developed(brews[::-1])
