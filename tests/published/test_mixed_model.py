"""Mixed models on balanced data, against statsmodels and the textbook's analysis of variance.

Source: statsmodels 0.15.0, ``MixedLM`` by REML, run once on the two tables below; its figures stand here, since with
pandas it would make the test environment 90 MB larger. For a balanced table with no component at 0, REML and the
expected mean squares of Shrout and Fleiss 1979 agree (Searle, Casella and McCulloch 1992, Variance Components,
section 4.8, from memory, high); statsmodels stops its search a little short of that on the first table.
"""

import numpy as np
import pytest
from scipy.optimize import minimize

from tastings.maths.brewing.brews import TasterScale
from tastings.maths.brewing.even_brew import even_brew
from tastings.maths.brewing.extraction import Grid, cup_strength
from tastings.maths.brewing.heat import steeping_of
from tastings.maths.curve import sufficient_statistics as sums
from tastings.maths.curve.scale_effects import expected_absent_tasters, sum_tasters
from tastings.maths.curve.sufficient_statistics import (
    SIGMA,
    SessionRatings,
    TasterStatistics,
    session_shift_sd,
    sum_sessions,
)
from tastings.maths.panel.agreement import intraclass
from tests.published.test_panels import JUDGES

TEA, JUDGE, NOISE = 2.5745652, 5.2006955, 1.0188443  # variance components of JUDGES by statsmodels

# Four tasters, three sessions each, five ratings of the same cup each: made up, half-point steps.
CUP = np.array(
    [
        [[5.5, 6.5, 7.5, 6.5, 7.0], [4.0, 5.5, 5.0, 7.0, 6.0], [6.5, 5.5, 6.0, 6.5, 5.5]],
        [[6.0, 6.0, 6.0, 7.0, 5.0], [7.0, 6.0, 6.0, 5.5, 6.5], [6.0, 6.5, 6.0, 6.5, 8.0]],
        [[6.5, 7.0, 7.0, 6.5, 5.0], [6.0, 6.5, 6.0, 6.5, 7.0], [6.5, 8.0, 8.0, 7.5, 8.0]],
        [[7.0, 7.5, 6.0, 5.5, 6.0], [7.5, 7.5, 6.0, 6.0, 7.0], [6.5, 6.5, 7.0, 7.5, 6.5]],
    ]
)
MEAN, STANDARD_ERROR = 6.44166667, 0.17710313  # of CUP by statsmodels, with these components:
TASTER, SESSION, RATING = 0.04796184, 0.12791738, 0.52291663


def variance_of_mean(*, taster, session, rating):
    n_tasters, n_sessions, n_ratings = CUP.shape
    return taster / n_tasters + session / (n_tasters * n_sessions) + rating / (n_tasters * n_sessions * n_ratings)


def reml_components(table):
    """Return the variances of rows, columns and rest that maximise the restricted likelihood, written out."""
    n, k = table.shape
    y, ones = table.ravel(), np.ones((table.size, 1))
    row, column = np.repeat(np.arange(n), k), np.tile(np.arange(k), n)
    same_row, same_column = row[:, None] == row, column[:, None] == column

    def minus_log_likelihood(log_variance):
        rows, columns, rest = np.exp(log_variance)
        covariance = rows * same_row + columns * same_column + rest * np.eye(table.size)
        solved = np.linalg.solve(covariance, np.column_stack([ones, y]))
        information = float(ones[:, 0] @ solved[:, 0])
        residual = y - float(solved[:, 0] @ y) / information
        return 0.5 * (
            np.linalg.slogdet(covariance)[1] + np.log(information) + residual @ np.linalg.solve(covariance, residual)
        )

    found = minimize(minus_log_likelihood, np.zeros(3), method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-10})
    return np.exp(found.x)


def test_intraclass_correlation_is_that_of_the_mixed_model():
    tea, judge, noise = reml_components(JUDGES)
    found = intraclass(JUDGES)
    assert found.two_way == pytest.approx(tea / (tea + judge + noise), abs=1e-4)
    assert found.fixed == pytest.approx(tea / (tea + noise), abs=1e-4)
    assert (tea, judge, noise) == pytest.approx((TEA, JUDGE, NOISE), rel=0.015)
    assert found.two_way == pytest.approx(TEA / (TEA + JUDGE + NOISE), abs=0.005)


def test_standard_error_of_statsmodels_is_the_balanced_formula():
    assert CUP.mean() == pytest.approx(MEAN, abs=1e-7)
    variance = variance_of_mean(taster=TASTER, session=SESSION, rating=RATING)
    assert variance**0.5 == pytest.approx(STANDARD_ERROR, abs=1e-6)


def test_sums_give_mean_and_standard_error_of_the_mixed_model(monkeypatch):
    # One cup rated over and over: no gains, so what is left is the model of statsmodels with known components.
    monkeypatch.setattr(sums, "SESSION_GAIN_SD", 0.0)
    grid = Grid(
        k_per_min=np.array([0.3]),
        tau_s=np.array([20.0]),
        n=np.array([0.7]),
        log_prior=np.zeros(1),
        any_form=np.zeros(1),
    )
    steeping = steeping_of(even_brew(), even_brew().pours)
    strength = cup_strength(steeping, grid=grid)[0, 3]
    scale = TasterScale(gain_sd=0.0, offset_sd=TASTER**0.5)
    totals = [
        sum_sessions(
            [
                SessionRatings(
                    taster=str(number),
                    scale=scale,
                    steeping=steeping,
                    index=np.full(ratings.size, 3),
                    ratings=ratings,
                    censored=np.zeros(ratings.size),
                    order=np.zeros(ratings.size),
                )
                for ratings in sessions
            ],
            grid=grid,
        )
        for number, sessions in enumerate(CUP)
    ]
    found = sum_tasters(
        ((TasterStatistics.of(total), scale) for total in totals), level=np.full(1, 6.0)
    ).centred_on_team(n_absent=expected_absent_tasters([3, 3, 3, 3]))
    for s, sigma in enumerate(SIGMA):
        assert strength * found.cross[s, 0] / found.precision[s, 0] == pytest.approx(MEAN, abs=1e-6)
        expected = variance_of_mean(taster=TASTER, session=session_shift_sd(sigma) ** 2, rating=sigma**2)
        assert strength**2 / found.precision[s, 0] == pytest.approx(expected, rel=1e-6)
