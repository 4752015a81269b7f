import numpy as np
import pytest

from tastings.maths.curve.lack_of_fit import Residuals, lack_of_fit
from tastings.wording.development import development_cautions
from tests.maths.brewed import brew_of, developed

TWO_HUMPS = (6.0, 4.0, 2.5, 4.0, 6.0, 6.5, 5.0, 3.0, 2.0)
ONE_HUMP = (4.0, 5.5, 6.0, 5.8, 5.4, 4.9, 4.4, 4.0, 3.6)
EXPECTED = np.linspace(6, 3, 9)


def lot(shape, *, n_sessions, start=0):
    chance = np.random.default_rng(start)
    return [
        brew_of(
            f"s{i}",
            taster=f"t{i % 4}",
            strength=np.clip(np.round(2 * (np.array(shape) + chance.normal(0, 0.7, len(shape)))) / 2, 0, 10),
        )
        for i in range(n_sessions)
    ]


def left_of(shape, *, n_sessions=4, noise=0.5):
    chance = np.random.default_rng(5)
    return [
        Residuals(number=np.arange(1, 10), residual=np.array(shape) + chance.normal(0, noise, 9), expected=EXPECTED)
        for _ in range(n_sessions)
    ]


def test_two_humps_are_shown_as_they_were_tasted():
    found = developed(lot(TWO_HUMPS, n_sessions=6))
    means = [point.mean for point in found.curves[0].points[:9]]
    assert means == pytest.approx(TWO_HUMPS, abs=0.8)
    assert any("do not follow the extraction model" in caution for caution in development_cautions(found))


@pytest.mark.parametrize("start", range(10))
def test_one_hump_is_left_to_the_model(start):
    assert developed(lot(ONE_HUMP, n_sessions=6, start=start)).lack_of_fit == ()


def test_two_sessions_cannot_tell_lack_of_fit_from_a_bad_day():
    assert developed(lot(TWO_HUMPS, n_sessions=2)).lack_of_fit == ()


def test_noise_alone_is_no_lack_of_fit():
    assert lack_of_fit(left_of(np.zeros(9)), infusions=12) is None


def test_deviation_points_where_the_ratings_do():
    bump = np.zeros(9)
    bump[4] = 2.0
    found = lack_of_fit(left_of(bump), infusions=12)
    assert found.worst == 5
    assert found.mean.argmax() == 4
    assert found.mean[-1] == pytest.approx(0, abs=0.2)


@pytest.mark.parametrize("tilt", [np.ones(9), 0.2 * EXPECTED])
def test_shift_and_gain_of_sessions_are_no_lack_of_fit(tilt):
    assert lack_of_fit(left_of(tilt), infusions=12) is None


def test_smooth_is_repeatable_and_on_the_scale():
    bump = np.zeros(9)
    bump[4] = 2.0
    found, cups = lack_of_fit(left_of(bump), infusions=12), np.full((50, 12), 9.0)
    assert np.array_equal(found.applied(cups), found.applied(cups))
    assert found.applied(cups).max() <= 10.0
