import numpy as np
import pytest

from tastings.maths.brewing.extraction import default_grid
from tastings.maths.comparison import counts
from tastings.maths.comparison.alike import alike_weights
from tastings.maths.curve.posterior import fit
from tests.maths.comparison.test_side_by_side import FADING, LASTING, pair_of, sessions

NEAR = (6.0, 6.5, 6.5, 6.0, 5.5, 5.5, 4.5, 4.5, 4.0, 3.5)


@pytest.mark.parametrize("form", ["", "broken"])
def test_before_any_tasting_weights_of_alike_lots_average_one(form):
    # They are a ratio of two densities of pairs, and the draws are from the one below.
    grid = default_grid(form)
    prior = fit([], grid=grid)
    found = alike_weights((prior.draws(n_draws=512), prior.draws(n_draws=499)), shift=np.zeros(1), grids=(grid, grid))
    assert found.mean() == pytest.approx(1.0, rel=0.2)


def as_many(monkeypatch, *, alike, second):
    monkeypatch.setattr(counts, "ALIKE", alike)
    pair = pair_of(sessions("a", LASTING, tasters=["ann"]), sessions("b", second, tasters=["ann"]))
    return 1 - pair.outlasts - pair.outlasted


def test_lots_that_may_be_alike_rather_give_as_many_infusions(monkeypatch):
    assert as_many(monkeypatch, alike=0.4, second=NEAR) > as_many(monkeypatch, alike=0.0, second=NEAR) + 0.03


def test_lots_that_cannot_be_alike_are_told_apart_as_before(monkeypatch):
    as_before = pytest.approx(as_many(monkeypatch, alike=0.0, second=FADING), abs=0.01)
    assert as_many(monkeypatch, alike=0.4, second=FADING) == as_before
