"""Errors of the water's heat that all sessions share."""

from dataclasses import replace

import numpy as np
import pytest

from tastings.maths.brewing.even_brew import BOILING
from tastings.maths.brewing.extraction import make_grid
from tastings.maths.curve.evidence import prepare_sessions
from tastings.maths.curve.heat_error import rate_error
from tests.maths.brewed import brew_of, developed, pour_of

GRID = make_grid(n_k=3, n_tau=3, n_n=2)
FADING = (5.0, 6.0, 6.0, 5.5, 4.5, 4.0, 3.0, 2.5)
PER_C = 40.0 / 8.314462618e-3 / 373.15**2  # of the log rate near 100 deg C, at 40 kJ/mol


def brews(kettles_c, *, shops=("a",), read=True):
    return [
        brew_of(
            f"s{i}",
            shop=shop,
            pours=[
                replace(pour_of(n, strength=rating, kettle_c=kettle_c), kettle_read=read)
                for n, (rating, kettle_c) in enumerate(zip(FADING, kettles_c, strict=True), start=1)
            ],
        )
        for i, shop in enumerate(shops)
    ]


def found(some):
    return rate_error(prepare_sessions(some, grid=GRID, scales={})[0], even_brew=BOILING)


READ = (99.0, 98.0, 98.0, 99.0, 97.0, 98.0, 98.0, 99.0)


def test_kettle_that_was_read_leaves_half_a_degree_open():
    assert found(brews(READ)).mean == 0.0
    assert found(brews(READ)).sd == pytest.approx(0.5 * PER_C, rel=0.35)  # the activation energy adds a little


@pytest.mark.parametrize(("kettles_c", "read", "off_c"), [(READ, False, 6), ((100.0,) * 8, True, 4)])
def test_kettle_that_nobody_read_leaves_degrees_open(kettles_c, read, off_c):
    assert found(brews(kettles_c, read=read)).sd == pytest.approx(off_c * PER_C, rel=0.05)


def test_a_kettle_always_noted_as_boiling_was_a_little_cooler_on_average():
    assert found(brews((100.0,) * 8)).mean == pytest.approx(3 * PER_C, rel=0.01)


def test_further_sessions_of_a_shop_share_its_kettle_and_another_shop_does_not():
    one, again, other = (found(brews(READ, shops=shops, read=False)).sd for shops in ("a", "aaaa", "abcd"))
    assert again == pytest.approx(one)
    assert other == pytest.approx(one / 2, rel=0.02)


def test_cooler_pots_leave_the_activation_energy_open():
    cool = tuple(kettle_c - 20 for kettle_c in READ)
    # 10 kJ/mol over 20 degrees, from about 97 to 77 deg C in the pot.
    assert found(brews(cool)).sd == pytest.approx(10 / 8.314462618e-3 * (1 / 350 - 1 / 370), rel=0.3)
    assert found(brews(READ)).sd < found(brews(cool)).sd / 3


def test_band_of_a_lot_whose_kettle_was_not_read_is_wider():
    def width(read):
        some = brews(READ, shops="aaaa", read=read)
        curve = developed([replace(one, taster=f"t{i}") for i, one in enumerate(some)]).curves[0].points
        return np.mean([point.high - point.low for point in curve])

    assert width(False) > 1.05 * width(True)
