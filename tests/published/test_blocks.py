"""Efficiency of block plans against known designs.

Sources, all from memory: balanced incomplete blocks and the bound v (k - 1) / (k (v - 1)) they reach, John and Williams
1995, Cyclic and Computer Generated Designs, chapters 2 and 3 (blocks of three of 7 lots, of four of 13, of five of 21
and of 11, of three of 9); square lattices of r replicates in blocks of k, whose efficiency factor is
(k + 1) (r - 1) / ((k + 1) (r - 1) + r), Yates 1936, Annals of Eugenics 7:121-140, and John and Williams, chapter 4.
Square lattices are the best there are (Cheng and Bailey 1991, Annals of Statistics 19:1667-1671).
"""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tastings.maths.flights.efficiency import bound, efficiency, no_others
from tastings.maths.flights.serving import plan_servings


def counted(blocks, *, v):
    counts = np.zeros((v, len(blocks)), dtype=np.int64)
    for number, block in enumerate(blocks):
        np.add.at(counts, (list(block), number), 1)
    return counts


def cyclic(start, *, v):
    return [[(one + shift) % v for one in start] for shift in range(v)]


def lattice(k, *, r):
    """Rows, columns, then the diagonals of a k by k square; k prime."""
    slopes = [[[i * k + j for j in range(k)] for i in range(k)], [[i * k + j for i in range(k)] for j in range(k)]]
    slopes += [[[i * k + (slope * i + j) % k for i in range(k)] for j in range(k)] for slope in range(1, k)]
    return [block for blocks in slopes[:r] for block in blocks]


@pytest.mark.parametrize(
    ("start", "v", "factor"),
    [((0, 1, 3), 7, 7 / 9), ((0, 1, 3, 9), 13, 13 / 16), ((3, 6, 7, 12, 14), 21, 21 / 25)],
    ids=["7 of 3", "13 of 4", "21 of 5"],
)
def test_cyclic_difference_sets_reach_the_bound(start, v, factor):
    counts = counted(cyclic(start, v=v), v=v)

    assert efficiency(counts, no_others(v)) == pytest.approx(factor, abs=1e-12)
    assert bound(counts, no_others(v)) == pytest.approx(factor, abs=1e-12)


@pytest.mark.parametrize(
    ("counts", "factor"),
    [
        # two lots, one of them twice in each sitting of three: 1 - (1 / 9), by the mean of the factors
        ([[1, 2], [2, 1]], 8 / 9),
        # lots in the same proportion in every sitting lose nothing to the sittings: 1 / mean R of mean 1 / R
        ([[1], [2]], 8 / 9),
        ([[1, 1], [2, 2]], 8 / 9),
        ([[1, 1], [1, 1], [2, 2]], 9 / 10),
    ],
)
def test_bound_of_unequal_numbers_is_reached_where_it_can_be(counts, factor):
    """Worked by hand from the definition: harmonic mean of the factors, over the numbers of the lots."""
    n = np.array(counts)

    assert efficiency(n, no_others(n.shape[1])) == pytest.approx(factor, abs=1e-12)
    assert bound(n, no_others(n.shape[1])) == pytest.approx(factor, abs=1e-12)


@pytest.mark.parametrize(("k", "r"), [(3, 2), (3, 3), (3, 4), (5, 2), (5, 3), (5, 6), (7, 2)])
def test_square_lattices_have_the_efficiency_of_yates(k, r):
    blocks = lattice(k, r=r)
    counts = counted(blocks, v=k * k)

    expected = (k + 1) * (r - 1) / ((k + 1) * (r - 1) + r)
    assert efficiency(counts, no_others(len(blocks))) == pytest.approx(expected, abs=1e-12)
    assert bound(counts, no_others(len(blocks))) >= expected - 1e-12


@pytest.mark.parametrize(
    ("lots", "tasters", "cups", "sittings", "factor"),
    [
        (7, 7, 3, 1, 7 / 9),
        (13, 13, 4, 1, 13 / 16),
        (9, 12, 3, 1, 3 / 4),
        (11, 11, 5, 1, 22 / 25),
        (9, 2, 3, 3, 2 / 3),
        (9, 3, 3, 3, 8 / 11),
        (25, 2, 5, 5, 3 / 4),
    ],
    ids=["7 of 3", "13 of 4", "9 of 3", "11 of 5", "simple lattice 9", "triple lattice 9", "simple lattice 25"],
)
def test_plan_finds_the_known_best(lots, tasters, cups, sittings, factor):
    """Where each taster sits through all lots, the best plan is a lattice."""
    plan = plan_servings(
        lots=[f"lot {i}" for i in range(lots)],
        tasters=[f"taster {i}" for i in range(tasters)],
        cups=cups,
        sittings=sittings,
        seed=20,
    )

    assert plan.efficiency == pytest.approx(factor, abs=1e-9)
    assert plan.bound >= factor - 1e-9


@pytest.mark.parametrize(
    ("lots", "tasters", "sittings", "share"),
    [(24, 6, 1, 0.999), (24, 6, 2, 0.99), (24, 6, 3, 0.99), (30, 8, 1, 0.95), (30, 8, 2, 0.975)],
)
def test_plan_of_a_season_comes_close_to_the_bound(lots, tasters, sittings, share):
    """Eight cups a sitting; the bound is loose where some lots get a cup more than others (30 lots)."""
    plan = plan_servings(
        lots=[f"lot {i}" for i in range(lots)],
        tasters=[f"taster {i}" for i in range(tasters)],
        cups=8,
        sittings=sittings,
        seed=21,
    )

    assert share * plan.bound <= plan.efficiency <= plan.bound + 1e-9


@st.composite
def plans(draw):
    v, b = draw(st.integers(2, 8)), draw(st.integers(1, 7))
    cup = st.integers(0, draw(st.integers(1, 2)))
    counts = np.array([[draw(cup) for _ in range(b)] for _ in range(v)])
    beside = np.array([[draw(st.integers(0, 1)) for _ in range(b)] for _ in range(draw(st.integers(0, 2)))], dtype=int)
    return counts, beside.reshape(-1, b)


@given(plans())
@example((np.array([[0, 0, 1], [1, 0, 0]]), np.array([[1, 1, 0], [0, 1, 1]])))  # tied by a sitting without either
@settings(max_examples=400)
def test_efficiency_equals_least_squares_and_no_plan_passes_the_bound(plan):
    """Every cup a row of a regression on lots, other lots and sittings; mean variance of all differences."""
    counts, others = plan
    used = (counts.sum(axis=0) + others.sum(axis=0)) > 0
    counts, others = counts[:, used], others[:, used]
    if not counts.sum(axis=1).all():
        return
    both = np.vstack([counts, others])
    rows = [(i, len(both) + j) for (i, j), n in np.ndenumerate(both) for _ in range(n)]
    table = np.zeros((len(rows), sum(both.shape)))
    for number, row in enumerate(rows):
        table[number, list(row)] = 1
    inverse = np.linalg.pinv(table.T @ table, rcond=1e-10)
    v = len(counts)
    pairs = [(i, j) for i in range(v) for j in range(i)]
    contrasts = np.zeros((len(pairs), table.shape[1]))
    for number, (i, j) in enumerate(pairs):
        contrasts[number, [i, j]] = 1, -1
    can = np.allclose(contrasts @ inverse @ table.T @ table, contrasts, atol=1e-6)
    variance = float(np.mean([one @ inverse @ one for one in contrasts]))
    expected = 2 / (counts.sum() / v) / variance if can else 0.0

    assert efficiency(counts, others) == pytest.approx(expected, abs=1e-6)
    assert efficiency(counts, others) <= bound(counts, others) + 1e-9
