"""Agreement and triangle tests against published tables.

Sources: Shrout and Fleiss 1979, Psychological Bulletin 86:420-428, tables 2-4 (ratings from memory, high; six values
to four decimals); Zar 2010, Biostatistical Analysis, 5th ed., example 20.5 (measures from memory, high; W .9241 with
ties); Hollander and Wolfe's rounding-first-base times, 22 runners by 3 ways (also R's help page of friedman.test; times
from memory, high; chi-squared 11.142857, rank sums 53, 47, 32); ISO 4120:2021 as printed in FAO document V7180E,
appendix A (44 numbers of tests at 10, 5, 1 and 0.1 %). Power and needed number of triangle tests: output of the R
package sensR 1.5.3 (discrimPwr and discrimSS, statistic "exact", alpha 0.05), kept as reference data of a public port
of it; the proportion of distinguishers that belongs to d' = 1.5 from the same output.
"""

import numpy as np
import pytest

from tastings.answers.triangles import triangle_result
from tastings.figures import to_stored
from tastings.maths.comparison.triangle import (
    TriangleError,
    least_correct,
    needed_tests,
    power,
    probability_by_guessing,
    triangle,
)
from tastings.maths.panel.agreement import AgreementError, concordance, intraclass

JUDGES = np.array([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]], dtype=float)
WING = (10.4, 10.8, 11.1, 10.2, 10.3, 10.2, 10.7, 10.5, 10.8, 11.2, 10.6, 11.4)
TAIL = (7.4, 7.6, 7.9, 7.2, 7.4, 7.1, 7.4, 7.2, 7.8, 7.7, 7.8, 8.3)
BILL = (17, 17, 20, 14.5, 15.5, 13, 19.5, 16, 21, 20, 18, 22)
BASES = """
5.40 5.50 5.55; 5.85 5.70 5.75; 5.20 5.60 5.50; 5.55 5.50 5.40; 5.90 5.85 5.70; 5.45 5.55 5.60; 5.40 5.40 5.35;
5.45 5.50 5.35; 5.25 5.15 5.00; 5.85 5.80 5.70; 5.25 5.20 5.10; 5.65 5.55 5.45; 5.60 5.35 5.45; 5.05 5.00 4.95;
5.50 5.50 5.40; 5.45 5.55 5.50; 5.55 5.55 5.35; 5.45 5.50 5.55; 5.50 5.45 5.25; 5.65 5.60 5.40; 5.70 5.65 5.55;
6.30 6.30 6.25
"""
TRIANGLE = """
3: 3 3 - -; 4: 4 4 - -; 5: 4 4 5 -; 6: 5 5 6 -; 7: 5 5 6 7; 8: 5 6 7 8; 9: 6 6 7 8; 10: 6 7 8 9; 11: 7 7 8 10;
12: 7 8 9 10; 13: 8 8 9 11; 14: 8 9 10 11; 15: 8 9 10 12; 16: 9 9 11 12; 17: 9 10 11 13; 18: 10 10 12 13;
19: 10 11 12 14; 20: 10 11 13 14; 21: 11 12 13 15; 22: 11 12 14 15; 23: 12 12 14 16; 24: 12 13 15 16; 25: 12 13 15 17;
26: 13 14 15 17; 27: 13 14 16 18; 28: 14 15 16 18; 29: 14 15 17 19; 30: 14 15 17 19; 31: 15 16 18 20; 32: 15 16 18 20;
33: 15 17 18 21; 34: 16 17 19 21; 35: 16 17 19 22; 36: 17 18 20 22; 42: 19 20 22 25; 48: 21 22 25 27; 54: 23 25 27 30;
60: 26 27 30 33; 66: 28 29 32 35; 72: 30 32 34 38; 78: 32 34 37 40; 84: 35 36 39 43; 90: 37 38 42 45; 96: 39 41 44 48
"""
ROWS = [row.split(":") for row in TRIANGLE.replace("\n", " ").split(";")]


def test_intraclass_correlations_of_shrout_and_fleiss():
    found = intraclass(JUDGES)
    single = (found.one_way, found.two_way, found.fixed)
    of_means = (found.one_way_mean, found.two_way_mean, found.fixed_mean)
    assert single == pytest.approx((0.1657, 0.2898, 0.7148), abs=5e-5)
    assert of_means == pytest.approx((0.4428, 0.6201, 0.9093), abs=5e-5)


def test_concordance_of_zar_with_ties():
    assert concordance(np.column_stack([WING, TAIL, BILL])) == pytest.approx(0.92414, abs=5e-6)


def test_concordance_is_friedmans_chi_squared_over_its_largest_value():
    # chi-squared = raters (things - 1) W, ties corrected in both.
    runners = np.array([row.split() for row in BASES.split(";")], dtype=float)
    w = concordance(runners.T)
    assert 22 * 2 * w == pytest.approx(11.142857, abs=1e-6)
    assert w == pytest.approx(0.253247, abs=1e-6)


def test_a_taster_who_adds_a_point_agrees_but_for_the_level():
    table = np.column_stack([JUDGES[:, 0], JUDGES[:, 0] + 1])
    found = intraclass(table)
    assert found.fixed == pytest.approx(1.0)
    assert found.two_way < 1.0
    assert concordance(table) == pytest.approx(1.0)


@pytest.mark.parametrize(
    "table", [np.ones((1, 4)), np.ones((4, 1)), np.ones(4), np.array([[1.0, np.nan], [2.0, 3.0]]), np.ones((3, 3))]
)
def test_table_that_says_nothing_about_agreement_is_refused(table):
    with pytest.raises(AgreementError):
        intraclass(table)
    with pytest.raises(AgreementError):
        concordance(table)


def test_triangle_table_has_all_its_rows():
    assert len(ROWS) == 44


@pytest.mark.parametrize(("n_tests", "cells"), ROWS)
def test_least_correct_equals_the_triangle_table(n_tests, cells):
    printed = [None if cell == "-" else int(cell) for cell in cells.split()]
    assert [least_correct(n_tests=int(n_tests), alpha=alpha) for alpha in (0.1, 0.05, 0.01, 0.001)] == printed


@pytest.mark.parametrize("n_tests", [6, 24, 96])
def test_least_correct_is_where_guessing_becomes_unlikely(n_tests):
    least = least_correct(n_tests=n_tests, alpha=0.05)
    assert probability_by_guessing(n_correct=least, n_tests=n_tests) <= 0.05
    assert probability_by_guessing(n_correct=least - 1, n_tests=n_tests) > 0.05


@pytest.mark.parametrize(("n_correct", "n_tests"), [(4, 3), (-1, 3), (0, 0)])
def test_impossible_triangle_counts_are_refused(n_correct, n_tests):
    with pytest.raises(TriangleError):
        probability_by_guessing(n_correct=n_correct, n_tests=n_tests)


@pytest.mark.parametrize(("n_tests", "alpha"), [(0, 0.05), (5, 0.0), (5, 1.0)])
def test_impossible_triangle_questions_are_refused(n_tests, alpha):
    with pytest.raises(TriangleError):
        least_correct(n_tests=n_tests, alpha=alpha)


@pytest.mark.parametrize(
    ("n_tests", "distinguishers", "printed"),
    [(100, 0.3, 0.99112487492), (200, 0.25, 0.99886028075), (100, 0.25968414606, 0.96651326064)],
)
def test_triangle_power_equals_the_reference(n_tests, distinguishers, printed):
    assert power(n_tests=n_tests, alpha=0.05, distinguishers=distinguishers) == pytest.approx(printed, abs=1e-9)


@pytest.mark.parametrize(("distinguishers", "printed"), [(0.3, 53), (0.25, 79), (0.25968414606, 71)])
def test_triangle_tests_needed_equal_the_reference(distinguishers, printed):
    assert needed_tests(alpha=0.05, distinguishers=distinguishers, target_power=0.9) == printed


@pytest.mark.parametrize(("n_correct", "printed"), [(60, 4.324e-08), (40, 0.0966)])
def test_triangle_probability_of_a_hundred_answers_equals_the_reference(n_correct, printed):
    assert triangle(n_correct=n_correct, n_tests=100).p == pytest.approx(printed, rel=1e-3)


@pytest.mark.parametrize("n_tests", [1, 2, 10, 40, 96])
def test_triangle_power_without_distinguishers_is_no_more_than_alpha(n_tests):
    assert power(n_tests=n_tests, alpha=0.05, distinguishers=0.0) <= 0.05


def test_triangle_power_grows_with_the_distinguishers():
    powers = [power(n_tests=30, alpha=0.05, distinguishers=share) for share in np.linspace(0, 1, 11)]
    assert powers == sorted(powers)
    assert powers[-1] == pytest.approx(1.0)


@pytest.mark.parametrize("target_power", [0.5, 0.8, 0.95])
def test_triangle_tests_needed_are_the_first_with_enough_power(target_power):
    needed = needed_tests(alpha=0.05, distinguishers=0.4, target_power=target_power)
    powers = [power(n_tests=n, alpha=0.05, distinguishers=0.4) for n in range(1, needed + 1)]
    assert powers[-1] >= target_power
    assert max(powers[:-1]) < target_power


def test_triangle_of_few_tests_says_how_little_it_could_have_shown():
    # 5 right answers of 6 at 5 %: ISO 4120. With 0.3 + 0.7 / 3 = 8/15 right, 5 or 6 of 6 come with 0.1208 + 0.0230.
    assert to_stored(triangle_result(triangle(n_correct=3, n_tests=6))) == {
        "n_correct": 3, "n_tests": 6, "p": 0.32, "alpha": 0.05, "least_correct": 5, "different": False,
        "distinguishers": 0.3, "power": 0.144, "target_power": 0.8, "needed": 40, "found_distinguishers": 0.25,
    }  # fmt: skip
    assert triangle(n_correct=5, n_tests=6).different
    assert not triangle(n_correct=2, n_tests=2).different


def test_triangle_tests_needed_beyond_reason_are_none():
    assert needed_tests(alpha=0.001, distinguishers=0.01, target_power=0.99) is None


@pytest.mark.parametrize(
    "asked",
    [
        {"alpha": 0.0, "distinguishers": 0.3, "target_power": 0.8},
        {"alpha": 0.05, "distinguishers": 0.0, "target_power": 0.8},
        {"alpha": 0.05, "distinguishers": 0.3, "target_power": 1.0},
    ],
)
def test_impossible_triangle_plans_are_refused(asked):
    with pytest.raises(TriangleError):
        needed_tests(**asked)
    with pytest.raises(TriangleError):
        power(n_tests=5, alpha=0.05, distinguishers=1.5)
