"""The closed forms against the same model with its covariances written out (scipy's multivariate normal)."""

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from tastings.maths.brews import TasterScale
from tastings.maths.sums import (
    SESSION_GAIN_SD,
    SESSION_SHIFT_SD,
    SIGMA,
    Tasted,
    summed,
    taster_sums,
)

LEVEL = np.array([4.0, 6.5])


def sessions(tasters, *, scale=None):
    chance = np.random.default_rng(3)
    found = []
    for number, taster in enumerate(tasters):
        n = 4 + number % 3
        cups = chance.uniform(0.2, 1.5, (LEVEL.size, n))
        ratings = 5 * cups[0] + chance.normal(0, 1, n)
        found.append(Tasted(taster=taster, scale=scale or TasterScale(), cups=cups, ratings=ratings, ends=np.zeros(n)))
    return found


def written_out(tasted, *, level, node, sigma):
    """Return the log likelihood of ``a = level``, gains along the first estimate of the level."""
    total = 0.0
    for taster in {one.taster for one in tasted}:
        own = [one for one in tasted if one.taster == taster]
        cups = np.concatenate([one.cups[node] for one in own])
        which = np.repeat(np.arange(len(own)), [one.ratings.size for one in own])
        same = which[:, None] == which[None, :]
        scale = own[0].scale
        covariance = (
            scale.offset_sd**2
            + SESSION_SHIFT_SD**2 * same
            + LEVEL[node] ** 2 * np.outer(cups, cups) * (scale.gain_sd**2 + SESSION_GAIN_SD**2 * same)
            + sigma**2 * np.eye(cups.size)
        )
        total += multivariate_normal(level * cups, covariance).logpdf(np.concatenate([one.ratings for one in own]))
    return total


@pytest.mark.parametrize("tasters", [["ann"], ["ann", "ben"], ["ann", "ben", "ann", "ann", "cho"]])
@pytest.mark.parametrize("scale", [TasterScale(), TasterScale(gain_sd=0.04, offset_sd=0.1)])
def test_sums_give_the_likelihood_of_the_model_written_out(tasters, scale):
    tasted = sessions(tasters, scale=scale)
    found = summed(tasted, level=LEVEL)
    n = sum(one.ratings.size for one in tasted)
    for node in range(LEVEL.size):
        for s, sigma in enumerate(SIGMA):
            for level in (2.0, 5.0, 9.0):
                closed = -0.5 * (
                    found.constant[s, node]
                    - 2 * level * found.cross[s, node]
                    + level**2 * found.precision[s, node]
                    + n * np.log(2 * np.pi)
                )
                assert closed == pytest.approx(written_out(tasted, level=level, node=node, sigma=sigma), rel=1e-9)


def test_sums_of_a_taster_add_session_by_session():
    tasted = sessions(["ann"] * 4)
    apart = [taster_sums([one], level=LEVEL) for one in tasted]
    added = apart[0] + apart[1] + apart[2] + apart[3]
    together = taster_sums(tasted, level=LEVEL)
    for name in ("h_h", "h_y", "h_1", "y_1", "one_1", "constant"):
        assert getattr(added, name) == pytest.approx(getattr(together, name), abs=1e-9)


def test_sums_of_tasters_add():
    tasted = sessions(["ann", "ben", "ann", "cho"])
    apart = [summed([one for one in tasted if one.taster == name], level=LEVEL) for name in ("cho", "ann", "ben")]
    added, together = apart[0] + apart[1] + apart[2], summed(tasted, level=LEVEL)
    for name in ("precision", "cross", "constant"):
        assert getattr(added, name) == pytest.approx(getattr(together, name), abs=1e-9)


def test_many_sessions_of_one_taster_say_less_than_those_of_many():
    one, many = summed(sessions(["ann"] * 8), level=LEVEL), summed(sessions(list("abcdefgh")), level=LEVEL)
    assert np.all(one.precision < 0.5 * many.precision)
