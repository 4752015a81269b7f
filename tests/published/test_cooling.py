"""The fading curve against a published decay towards a floor.

Source: CoolingWater data (S. Wagon; R package mosaicData), water cooling in an open mug, 15 of its 222 points [min, deg
C]. Least squares of one exponential on these points gives 28.80 + 64.48 exp(-0.02518 t); the water passed 50 deg C
between 40 and 50 minutes. Here a minute stands for a day and 10 deg C for a point: the formula has no units of its own.
"""

import numpy as np
import pytest

from tastings.maths.brewing.brews import TasterScale
from tastings.maths.roast.fading import Value, fit_fade

MINUTES = (0, 5, 10, 15, 20, 30, 40, 50, 60, 80, 100, 120, 150, 180, 220)
CELSIUS = (98.2, 84.9, 76.5, 70.3, 65.3, 58.1, 52.5, 48.5, 45.1, 40.0, 36.0, 33.2, 30.1, 27.8, 25.9)
KNOWN = TasterScale(gain_sd=0.0, offset_sd=0.0)
COOLING = tuple(
    Value(
        session=str(minute), taster="thermometer", day=float(minute), mean=celsius / 10, variance=0.15**2, scale=KNOWN
    )
    for minute, celsius in zip(MINUTES, CELSIUS, strict=True)
)


def test_half_life_floor_and_start_are_those_of_least_squares():
    found = fit_fade(COOLING)
    assert found.weights @ np.log(found.half_life_days) == pytest.approx(np.log(np.log(2) / 0.02518), abs=0.12)
    assert found.weights @ found.floor == pytest.approx(2.880, abs=0.15)
    assert found.weights @ found.start == pytest.approx(9.328, abs=0.25)


def test_day_under_a_level_is_when_the_water_passed_it():
    found = fit_fade(COOLING)
    low, middle, high = found.quantiles(found.under(5.0))
    assert 40 < middle < 50
    assert low < np.log(64.48 / 21.2) / 0.02518 < high
    # At the room's 24 deg C it never falls further.
    assert found.weights[np.isinf(found.under(2.0))].sum() > 0.95
