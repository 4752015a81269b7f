"""What bands allow for beyond the extraction model."""

import numpy as np
import pytest

from tastings.maths.curve.model_error import ModelError


def sds(rated, *, infusions=12):
    """Return the sd of each infusion's error for a strong, even lot, which is known exactly otherwise."""
    cups = np.full((1024, infusions), 5.0)
    return ModelError.of(rated, lack_of_fit=None).applied(cups).std(axis=0)


def test_band_grows_with_the_distance_from_the_last_rated_cup():
    stopped, went_on = sds([1, 2, 3]), sds(range(1, 13))
    assert np.all(np.diff(stopped[3:]) > 0)
    assert np.all(stopped[3:] > 1.5 * went_on[3:])


def test_first_cup_stays_uncertain_however_often_it_is_rated():
    assert sds([1] * 40)[0] == pytest.approx(sds([1])[0])
    assert sds([1])[0] > 2 * sds([1])[1]
