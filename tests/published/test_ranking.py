"""Ranking tests against published examples, and means of lots in blocks against statsmodels.

Sources. ISO 8587, the example of annex A as reproduced on a third-party page: eight assessors, five samples, rank sums
17, 31, 32, 23, 17, F = 10.6, critical chi-squared 9.5 (the table of assessors was not to be had; one with the same sums
is used, and F depends on the sums alone); an exercise page on the same standard: eleven assessors, four brands,
F = 27.7636, least difference 11.87. SciPy's documentation of ``page_trend_test``: ten ratings of three teaching styles,
L = 133.5, exact p = .0018191. Zar 2010, Biostatistical Analysis, example 20.5 and Hollander and Wolfe's base runners:
data of ``tests/published/test_panels.py``. Conover 1999, Practical Nonparametric Statistics, p. 391 (also R's
PMCMRplus): seven varieties in blocks of three, T = 12, p = .0620. Skillings and Mack 1981, Technometrics 23:171-177,
table 1 (also R's Skillings.Mack): four methods, nine blocks, gaps, 15.493049, p = .001440.

Mixed models: statsmodels 0.15.0, run once; its figures stand here, since with pandas it would make the test environment
90 MB larger::

    frame = pandas.DataFrame(rows, columns=["taster", "lot", "score"])
    model = smf.mixedlm("score ~ 0 + lot", frame, groups=frame.taster)
    fit = model.fit(reml=True, method=["powell", "lbfgs"], gtol=1e-10)
    fit.fe_params, fit.cov_re, fit.scale, fit.bse_fe, fit.cov_params()

Its standard errors come from a numerical second derivative; for incomplete blocks they are off by 0.1 %.
"""

from itertools import pairwise, permutations, product

import numpy as np
import pytest
from scipy.stats import chi2

from tastings.maths.flights.blocks import block_means
from tastings.maths.flights.ranking import (
    RankingError,
    friedman_test,
    page_test,
    rank_sum_difference,
    rank_sums,
)
from tastings.maths.panel.agreement import concordance
from tests.published.test_panels import BASES, BILL, TAIL, WING

# Eight orders of A to E whose rank sums are those of the standard's example.
ASSESSORS = "14532 34152 14532 25413 41523 35412 15342 23541"
BRANDS = "3124 3124 3124 3214 4123 3124 3214 3214 3124 3124 2134"
STYLES = "343 224 335 132 232 245 124 344 245 134"
VARIETIES = "23.1... .31.2.. ..21.3. ...12.3 3...12. .3...12 3.1...2"
METHODS = """
3.2 4.1 3.8 4.2; 3.1 3.9 3.4 4.0; 4.3 3.5 4.6 4.8; 3.5 3.6 3.9 4.0; 3.6 4.2 3.7 3.9; 4.5 4.7 3.7 .; . 4.2 3.4 .;
4.3 4.6 4.4 4.9; 3.5 . 3.7 3.9
"""
# Made up, half-point steps: one row for each taster, the lot before its score.
BALANCED = "A6.5 B5 C7 D4.5; A7.5 B6.5 C8 D6; A5 B4.5 C5.5 D4.5; A7 B5.5 C6.5 D5.5; A6 B6 C7.5 D5"
UNBALANCED = "A6.5 B5 C7; B6.5 C8 D6; C5.5 D4.5 A5; D5.5 A7 B6; A6 B6 D5 C7.5; A7 D6.5; B4.5 C6"


def table_of(rows):
    return {
        str(number): {"ABCDEFG"[place]: float(cell) for place, cell in enumerate(row) if cell != "."}
        for number, row in enumerate(rows)
    }


def means_of(rows):
    cups = [(str(n), cup[0], float(cup[1:])) for n, row in enumerate(rows.split(";")) for cup in row.split()]
    return block_means([cup[2] for cup in cups], lots=[cup[1] for cup in cups], blocks=[cup[0] for cup in cups])


SMALL_PANELS = [
    [(1, 2, 3)] * 5,
    [(1, 2, 3)] * 4 + [(1, 3, 2)],
    [(1, 2, 3)] * 4 + [(2, 1, 3)],
    [(1, 2, 3)] * 3 + [(1, 3, 2), (2, 1, 3)],
    [(1, 2, 3)] * 3 + [(2, 1, 3)] * 2,
    [(1, 2, 3)] * 3 + [(1, 3, 2)] * 2,
    [(1, 2, 3)] * 4 + [(2, 3, 1)],
    [(1, 2, 3)] * 4 + [(3, 2, 1)],
]


def chi_squared_p(found):
    """Return the probability that the sources print, which is the chi-squared approximation."""
    return float(chi2.sf(found.statistic, found.degrees_of_freedom))


@pytest.mark.parametrize(("statistic", "p"), [(6.4, 0.039), (5.2, 0.093), (8.4, 0.0085), (10.0, 0.00077)])
def test_probability_of_a_small_panel_is_friedmans_exact_one(statistic, p):
    """Friedman 1937, Journal of the American Statistical Association 32:675, exact table, 3 lots and 5 tasters (from
    memory)."""
    found = [
        friedman_test({str(i): dict(zip("ABC", map(float, row), strict=True)) for i, row in enumerate(rows)})
        for rows in SMALL_PANELS
    ]
    one = next(one for one in found if one.statistic == pytest.approx(statistic))
    assert one.p == pytest.approx(p, abs=max(0.15 * p, 0.0006))


def test_probability_of_a_small_panel_is_that_of_all_orders():
    rows = [(1, 2, 3), (1, 3, 2), (1, 2, 3), (2, 1, 3)]
    found = friedman_test({str(i): dict(zip("ABC", map(float, row), strict=True)) for i, row in enumerate(rows)})
    every = [
        sum((sum(column) - 8) ** 2 for column in zip(*orders, strict=True))
        for orders in product(permutations((1, 2, 3)), repeat=4)
    ]
    seen = sum((sum(column) - 8) ** 2 for column in zip(*rows, strict=True))
    assert found.p == pytest.approx(sum(one >= seen for one in every) / len(every), abs=0.01)


def test_large_panel_takes_the_chi_squared_distribution():
    rng = np.random.default_rng(5)
    found = friedman_test({str(i): dict(zip("ABCD", rng.normal(size=4), strict=True)) for i in range(40)})
    assert found.p == pytest.approx(chi_squared_p(found))


def pairs_apart(sums, least):
    return {(high, low) for high, low in permutations(sums, 2) if sums[high] - sums[low] >= least}


def test_iso_8587_example_has_its_rank_sums_friedman_and_groups():
    table = table_of(ASSESSORS.split())
    sums, found = rank_sums(table), friedman_test(table)
    assert sums == {"A": 17, "B": 31, "C": 32, "D": 23, "E": 17}
    assert found.name == "Friedman"
    assert found.statistic == pytest.approx(10.6, abs=1e-9)
    assert chi_squared_p(found) == pytest.approx(0.0314, abs=5e-5)
    least = rank_sum_difference(tasters=8, lots=5)
    assert least == pytest.approx(12.40, abs=0.005)
    assert pairs_apart(sums, least) == {("B", "A"), ("B", "E"), ("C", "A"), ("C", "E")}


def test_iso_8587_exercise_has_its_friedman_and_groups():
    table = table_of(BRANDS.split())
    sums, found = rank_sums(table), friedman_test(table)
    assert list(sums.values()) == [33, 14, 20, 43]
    assert found.statistic == pytest.approx(27.7636, abs=5e-5)
    least = rank_sum_difference(tasters=11, lots=4)
    assert least == pytest.approx(11.87, abs=0.005)
    assert pairs_apart(sums, least) == {("D", "B"), ("D", "C"), ("A", "B"), ("A", "C")}


def test_critical_values_are_those_of_the_standard():
    printed = {2: 3.8, 3: 6.0, 4: 7.8, 5: 9.5, 6: 11.1}
    assert {lots: round(float(chi2.isf(0.05, lots - 1)), 1) for lots in printed} == printed


def test_page_of_scipys_example():
    found = page_test(table_of(STYLES.split()), expected_order="CBA")
    assert found.statistic == 133.5
    assert found.p == pytest.approx(0.0018191161948127822, abs=1e-9)


def test_page_of_the_opposite_order_finds_nothing():
    assert page_test(table_of(STYLES.split()), expected_order="ABC").p > 0.99


def test_friedman_of_base_runners_with_ties():
    runners = table_of([row.split() for row in BASES.split(";")])
    found = friedman_test(runners)
    assert found.statistic == pytest.approx(11.142857, abs=5e-7)
    assert chi_squared_p(found) == pytest.approx(0.003805, abs=5e-7)
    assert rank_sums(runners) == {"A": 53, "B": 47, "C": 32}


def test_zars_concordance_gives_the_same_chi_squared_as_friedman():
    found = friedman_test(
        {name: dict(enumerate(map(float, row))) for name, row in (("w", WING), ("t", TAIL), ("b", BILL))}
    )
    assert found.statistic == pytest.approx(30.496, abs=1e-3)
    assert found.statistic == pytest.approx(3 * 11 * concordance(np.column_stack([WING, TAIL, BILL])))


def test_balanced_incomplete_blocks_give_durbins_statistic():
    found = friedman_test(table_of(VARIETIES.split()))
    assert (found.name, found.degrees_of_freedom) == ("Durbin", 6)
    assert found.statistic == pytest.approx(12.0)
    assert chi_squared_p(found) == pytest.approx(0.0620, abs=5e-5)


def test_other_gaps_give_the_statistic_of_skillings_and_mack():
    found = friedman_test(table_of([row.split() for row in METHODS.split(";")]))
    assert (found.name, found.degrees_of_freedom) == ("Skillings-Mack", 3)
    assert found.statistic == pytest.approx(15.493049, abs=5e-7)
    assert chi_squared_p(found) == pytest.approx(0.001440, abs=5e-7)


def test_lots_that_no_taster_links_lose_a_degree_of_freedom():
    apart = {"1": {"A": 1.0, "B": 2.0}, "2": {"A": 3.0, "B": 4.0}, "3": {"C": 1.0, "D": 2.0}, "4": {"C": 5.0, "D": 1.0}}
    assert friedman_test(apart).degrees_of_freedom == 2


@pytest.mark.parametrize(
    "table", [{}, {"a": {"x": 1.0, "y": 2.0}}, {"a": {"x": 1.0, "y": 1.0}, "b": {"x": 3.0, "y": 3.0}}]
)
def test_table_that_ranks_nothing_has_no_friedman(table):
    assert friedman_test(table) is None


def test_rank_sums_of_a_table_with_gaps_are_refused():
    with pytest.raises(RankingError):
        rank_sums({"a": {"x": 1.0, "y": 2.0}, "b": {"x": 1.0}})


def test_balanced_means_and_components_are_those_of_statsmodels():
    found = means_of(BALANCED)
    assert found.means == pytest.approx([6.4, 5.5, 6.9, 5.1])
    assert found.block_variance == pytest.approx(0.5437500063, rel=1e-5)
    assert found.noise_variance == pytest.approx(0.1812499994, rel=1e-5)
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx([0.380789] * 4, abs=2e-6)
    # The textbook's least significant difference: t of 12 degrees of freedom x sqrt(2 x 0.18125 / 5).
    assert found.least_difference(alpha=0.05) == pytest.approx(2.178813 * 0.269258, abs=2e-6)


def test_unbalanced_means_and_components_are_those_of_statsmodels():
    found = means_of(UNBALANCED)
    assert found.means == pytest.approx([6.270638, 5.550620, 7.063350, 5.284331], abs=2e-6)
    assert found.block_variance == pytest.approx(0.6926487947, rel=1e-5)
    assert found.noise_variance == pytest.approx(0.1425423333, rel=1e-5)
    errors = found.difference_sd()[np.tril_indices(4, -1)]
    assert errors == pytest.approx([0.2613, 0.262734, 0.247196, 0.24681, 0.26202, 0.264115], rel=0.015)


def test_slope_beside_is_taken_out():
    # Every lot once at every place, a quarter point lost from place to place: the means are those at the middle.
    rows = [(lot, block, place) for block in range(4) for place, lot in enumerate(np.roll(range(4), block))]
    scores = [5 + lot + 0.3 * block - 0.25 * place + 0.01 * (-1) ** (lot * block + place) for lot, block, place in rows]
    found = block_means(
        scores, lots=["ABCD"[r[0]] for r in rows], blocks=[str(r[1]) for r in rows],
        covariates=np.array([[float(r[2])] for r in rows]),
    )  # fmt: skip
    assert [b - a for a, b in pairwise(found.means)] == pytest.approx([1, 1, 1], abs=0.02)
    assert found.noise_variance < 0.001


@pytest.mark.parametrize("rows", ["A5 B5; A5 B5", "A5", "A5 B6"])
def test_means_without_anything_left_to_compare_are_none(rows):
    assert means_of(rows) is None
