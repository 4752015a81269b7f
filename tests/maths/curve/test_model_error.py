"""What bands allow for beyond the extraction model."""

import numpy as np
import pytest

from tastings.maths.brewing.brews import HIGHEST, LOWEST
from tastings.maths.curve.lack_of_fit import Residuals
from tastings.maths.curve.model_error import WEAK_CUP, ModelError
from tastings.maths.curve.sufficient_statistics import SESSION_GAIN_SD, session_shift_sd


def left(rated, *, residual=0.0, sessions=1):
    number = np.array(list(rated))
    one = Residuals(number=number, residual=np.full(number.size, residual), expected=np.full(number.size, 5.0))
    return [one] * sessions


def errors(rated, **known):
    """Return draws of the error of a strong, even lot, which is known exactly otherwise."""
    return ModelError.given(left(rated, **known), infusions=12).applied(np.full((2048, 12), 5.0)) - 5.0


def test_band_grows_with_the_distance_from_the_last_rated_cup():
    stopped, went_on = errors([1, 2, 3]).std(axis=0), errors(range(1, 13)).std(axis=0)
    assert np.all(np.diff(stopped[4:]) > 0)
    assert np.all(stopped[5:] > 1.2 * went_on[5:])


def test_ratings_narrow_the_band_where_they_are():
    once, often = (errors([1], sessions=n).std(axis=0) for n in (1, 20))
    assert often[0] < 0.6 * once[0]
    assert often[11] == pytest.approx(once[11], rel=0.05)


def test_what_ratings_leave_over_moves_the_curve_their_way():
    # 0.4 points left over at infusions 9 and 10 of twenty sessions, nothing elsewhere.
    sessions = left([1, 2, 3, 4, 5, 6, 7, 8, 11, 12], sessions=20) + left([9, 10], residual=0.4, sessions=20)
    moved = ModelError.given(sessions, infusions=12).applied(np.full((2048, 12), 5.0)).mean(axis=0) - 5.0
    assert np.all(moved[8:10] > 0.15)
    assert np.all(np.abs(moved[:6]) < 0.05)


def test_a_shift_of_the_only_taster_is_not_taken_for_an_error_of_the_model():
    known, open_to_shifts = (
        ModelError.given(left(range(1, 13), residual=0.5, sessions=8), infusions=12, open_share=share).mean
        for share in (0.0, 0.75)
    )
    assert np.all(open_to_shifts < 0.5 * known)


def test_first_cup_of_slow_leaf_is_less_known_than_that_of_leaf_which_is_wet_at_once():
    slow, quick = (
        ModelError.given(left(range(1, 13), sessions=8), infusions=12, dryness=dryness)
        .applied(np.full((2048, 12), 5.0))
        .std(axis=0)
        for dryness in (0.7, 0.05)
    )
    assert slow[0] > 1.5 * quick[0]
    assert slow[5:] == pytest.approx(quick[5:], rel=0.05)


def test_error_beyond_the_last_rated_cup_grows_as_a_random_walk_does(monkeypatch):
    cups = np.full((4096, 12), 5.0)
    after_three = ModelError.given(left([1, 2, 3]), infusions=12)
    with_it = after_three.applied(cups).var(axis=0)
    monkeypatch.setattr("tastings.maths.curve.model_error.BEYOND_SD", 0.0)
    added = with_it - after_three.applied(cups).var(axis=0)
    share = 5.0 / (5.0 + WEAK_CUP)
    assert added[:3] == pytest.approx(0.0)
    assert added[[3, 6, 11]] == pytest.approx(np.array([1, 4, 9]) / 3 * (1.05 * share) ** 2, rel=0.15)


def test_error_beyond_the_last_rated_cup_is_less_where_more_cups_were_rated():
    cups = np.full((4096, 12), 5.0)
    three, eight = (ModelError.given(left(range(1, n + 1)), infusions=12).applied(cups).std(axis=0) for n in (3, 8))
    assert three[5] > 1.3 * eight[10]  # the third after the last rated one


def test_infusions_beyond_the_curve_have_the_error_of_its_last():
    found = ModelError.given(left(range(1, 13)), infusions=12).applied(np.full((2048, 24), 5.0))
    assert found[:, 23].std() == pytest.approx(found[:, 11].std(), rel=0.1)


@pytest.mark.parametrize("strength", [1.0, 5.0])
def test_band_covers_errors_drawn_from_the_prior_as_often_as_it_says(strength):
    """Draw the error, then ratings of eight sessions with it: 80 % bands hold the truth in four of five draws."""
    rng, sessions, sigma = np.random.default_rng(16), 8, 0.75
    cups = np.full((1024, 12), strength)
    prior = ModelError.given([], infusions=12, dryness=0.7)
    covered = []
    for _ in range(300):
        error = prior.root @ rng.standard_normal(12) * strength / (strength + WEAK_CUP)
        one = [
            Residuals(
                number=np.arange(1, 13),
                residual=error
                + rng.normal(0.0, session_shift_sd(sigma))
                + rng.normal(0.0, SESSION_GAIN_SD) * strength
                + rng.normal(0.0, sigma, 12),
                expected=np.full(12, strength),
            )
            for _ in range(sessions)
        ]
        drawn = ModelError.given(one, infusions=12, sigma=sigma, dryness=0.7).applied(cups)
        low, high = np.quantile(drawn, (0.1, 0.9), axis=0)
        truth = np.clip(strength + error, LOWEST, HIGHEST)
        covered.append((low <= truth) & (truth <= high))
    assert np.mean(covered) == pytest.approx(0.8, abs=0.04)
    assert np.mean(covered, axis=0)[0] == pytest.approx(0.8, abs=0.07)
