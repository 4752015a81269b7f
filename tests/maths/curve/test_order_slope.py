"""Fatigue against fading, on simulated lots whose truth is known (``benchmarks/worlds.py``)."""

from functools import cache

import numpy as np
import pytest
from scipy.stats import norm

from benchmarks.curves import CurveScores, World, one_lot
from benchmarks.worlds import Table
from tastings.maths.brewing.extraction import make_grid
from tastings.maths.curve.order_slope import LOT_SD, SHARED_SD, OrderSlope, SlopeEvidence
from tastings.maths.curve.posterior import fit, fit_all, posterior_from
from tastings.maths.curve.scale_effects import TeamStatistics
from tests.maths.curve.test_posterior import tasted_of

LOTS = 16


@cache
def scores(fatigue_per_cup):
    """Return the scores of the same lots, each tasted three times."""
    world = World(table=Table(fatigue_per_cup=fatigue_per_cup))
    return CurveScores([one_lot(world, sessions=3, rng=np.random.default_rng([88, lot])) for lot in range(LOTS)])


def test_bands_hold_the_truth_although_every_cup_is_felt_weaker():
    # Without the slope the bands of these lots hold 0.35, and 0.12 at the last infusion.
    assert scores(0.15).coverage().mean() > 0.65
    assert scores(0.15).coverage()[-1] > 0.6


def test_rested_tasters_cost_the_curve_nothing():
    assert scores(0.0).rmse() < 0.5
    assert scores(0.0).coverage().mean() > 0.7


def test_bands_of_rested_tasters_are_recalibrated():
    # The central 80 % of the draws hold 0.90 of these curves.
    assert scores(0.0).coverage().mean() < 0.87


def test_slope_is_integrated_out_as_by_numerical_integration():
    """Weights of a node with a slope against the sum over a grid of slopes and levels."""
    grid, zero = make_grid(n_k=1, n_tau=1, n_n=1), np.zeros((8, 1))
    parts = {"precision": 2.0, "cross": 9.0, "constant": 45.0, "order_level": 6.0, "order_cross": 24.0}
    fields = dict.fromkeys(TeamStatistics.__dataclass_fields__, zero) | {k: zero + v for k, v in parts.items()}
    fields |= {"order_order": zero + 30.0, "shift_shift": zero + 1, "gain_gain": zero + 1}
    prior = OrderSlope(probability=0.25, mean=-0.15, sd=0.1)
    found = posterior_from(TeamStatistics(**fields), n_absent=0.0, grid=grid, slope=prior)

    a, s = np.linspace(-40, 60, 4001)[:, None], np.linspace(-1.5, 1.5, 1201)
    likelihood = np.exp(-0.5 * (45 - 18 * a + 2 * a**2 - 48 * s + 12 * a * s + 30 * s**2)) * norm.pdf(a, 6, 4)
    with_slope = (likelihood * norm.pdf(s, -0.15, 0.1)).sum() * (s[1] - s[0])
    without = likelihood[:, s.size // 2].sum()
    odds = 0.25 * with_slope / (0.75 * without)
    assert found.slope_probability == pytest.approx(odds / (1 + odds), rel=1e-6)
    slope = (likelihood * norm.pdf(s, -0.15, 0.1) * s).sum() / (likelihood * norm.pdf(s, -0.15, 0.1)).sum()
    assert found.slope == pytest.approx(slope, abs=1e-6)


def test_attribute_without_a_prior_has_no_slope():
    tasted, grid = [tasted_of([5, 6, 6, 5, 4])], make_grid(n_k=16, n_tau=12, n_n=3)
    prior = fit_all({"strength": tasted}, grid=grid, slopes={"sweetness": OrderSlope(probability=0.5)})
    assert np.array_equal(prior["strength"].weights, fit(tasted, grid=grid).weights)
    assert prior["strength"].slope_probability == 0


def test_lots_of_a_team_add_up():
    before = OrderSlope(probability=0.25, mean=-0.15, sd=0.04)
    tired, rested = SlopeEvidence(-0.15, 0.08), SlopeEvidence(0.0, 0.08)
    assert before.given([]) == before
    assert 0.25 < before.given([tired]).probability < 0.6
    assert before.given([tired] * 9).probability > 0.95
    assert before.given([rested] * 9).probability < 0.05
    # Written out: one lot, its likelihood under both beliefs.
    sd = (0.08**2 + LOT_SD**2 + SHARED_SD**2) ** 0.5
    odds = 0.25 * norm.pdf(-0.15, -0.15, np.hypot(sd, 0.04)) / (0.75 * norm.pdf(-0.15, 0, sd))
    assert before.given([tired]).probability == pytest.approx(odds / (1 + odds))


def test_no_number_of_lots_makes_a_slope_certain():
    tired = OrderSlope(0.25, -0.14, 0.05).given([SlopeEvidence(-0.15, 0.02)] * 2000)
    rested = OrderSlope(0.25, -0.14, 0.05).given([SlopeEvidence(0.0, 0.02)] * 2000)
    assert rested.probability >= 0.001
    assert tired.probability <= 0.999
