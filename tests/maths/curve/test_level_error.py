"""Whoever tasted may all rate above or below the team: an error of the level that sessions do not take away."""

import numpy as np
import pytest

from tastings.maths.brewing.brews import TasterScale
from tastings.maths.curve.level_error import level_error_sd, with_level_error
from tests.maths.brewed import developed
from tests.maths.curve.test_estimate import STEADY, shaped_lot

UNKNOWN, CALIBRATED = TasterScale(), TasterScale(gain=1.0, offset=0.2, gain_sd=0.05, offset_sd=0.1)


def test_only_tasters_who_are_not_calibrated_have_it():
    one = level_error_sd([UNKNOWN], open_share=0.75, sigma=0.75)
    assert one == pytest.approx(1.7 * 0.5 * 0.75**0.5)
    assert level_error_sd([UNKNOWN, CALIBRATED], open_share=0.75, sigma=0.75) == pytest.approx(one / 2)
    assert level_error_sd([CALIBRATED], open_share=0.75, sigma=0.75) == 0


def test_it_is_larger_for_tasters_as_noisy_as_those_of_published_panels():
    """Their levels differed by 1.35 at a retest sd of 1.74: perfumes and chocolates, `docs/science.md`."""
    assert level_error_sd([UNKNOWN], open_share=1.0, sigma=1.74) == pytest.approx(1.7 * 1.35, abs=0.01)


def test_all_cups_of_a_draw_move_together_weak_ones_less():
    moved = with_level_error(np.tile([6.0, 5.0, 0.5], (4096, 1)), sd=0.8) - [6.0, 5.0, 0.5]
    assert moved.std(axis=0) == pytest.approx(0.8 * np.array([6 / 7, 5 / 6, 1 / 3]), rel=0.05)
    assert np.corrcoef(moved, rowvar=False).min() > 0.95
    assert with_level_error(np.full((64, 1), 9.9), sd=3.0).max() == 10


def test_band_of_one_taster_who_returns_allows_for_it(monkeypatch):
    def width(taster=None):
        points = developed(shaped_lot(STEADY, n_sessions=8, taster=taster)).curves[0].points
        return sum(point.high - point.low for point in points)

    by_one, by_all = width("ann"), width()
    monkeypatch.setattr("tastings.maths.curve.level_error.TIMES_SHIFT", 0.0)
    assert by_one / width("ann") > 1.1 > by_all / width()
