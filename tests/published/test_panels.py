"""Agreement and triangle tests against published tables.

Sources: Shrout and Fleiss 1979, Psychological Bulletin 86:420-428, tables 2-4 (ratings from memory, high; six values
to four decimals); Zar 2010, Biostatistical Analysis, 5th ed., example 20.5 (measures from memory, high; W .9241 with
ties); ISO 4120:2021 as printed in FAO document V7180E, appendix A (44 numbers of tests at 10, 5, 1 and 0.1 %).
"""

import numpy as np
import pytest

from tastings.maths.agreement import AgreementError, concordance, intraclass
from tastings.maths.triangle import TriangleError, least_correct, probability_by_guessing

JUDGES = np.array([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]], dtype=float)
WING = (10.4, 10.8, 11.1, 10.2, 10.3, 10.2, 10.7, 10.5, 10.8, 11.2, 10.6, 11.4)
TAIL = (7.4, 7.6, 7.9, 7.2, 7.4, 7.1, 7.4, 7.2, 7.8, 7.7, 7.8, 8.3)
BILL = (17, 17, 20, 14.5, 15.5, 13, 19.5, 16, 21, 20, 18, 22)
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
