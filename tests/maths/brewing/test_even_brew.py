"""Even brews by kind."""

import numpy as np
import pytest

from tastings.maths.brewing.even_brew import BOILING, even_brew_of
from tastings.maths.brewing.extraction import default_grid
from tastings.schemas import RECORD_SCHEMAS

KINDS = ("green", "white", "yellow", "oolong", "black", "dark", "scented", "herbal")


def test_covered_bowl_is_that_of_the_standard():
    """GB/T 23776-2018, covered-bowl method for oolong: 5 g in a bowl of 110 ml, boiling water (as read second hand)."""
    assert (BOILING.leaf_g, BOILING.vessel_ml, BOILING.kettle_c) == (5.0, 110.0, 100.0)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_has_an_even_brew_near_what_it_is_given(kind):
    """Green, yellow and white tea is poured cooler; only oolong and dark tea is rinsed (common practice, no source)."""
    even = even_brew_of(kind)
    assert (even.kettle_c < 95.0) == (kind in {"green", "white", "yellow", "scented"})
    assert (even.rinse_s is not None) == (kind in {"oolong", "dark"})


def test_kinds_are_those_of_the_records():
    choices = next(field for field in RECORD_SCHEMAS["lot"].fields if field.name == "kind").choices
    assert set(choices) == set(KINDS)


@pytest.mark.parametrize("kind", ["green", "oolong"])
def test_cups_leave_the_rinse_out(kind):
    grid, even = default_grid(), even_brew_of(kind)

    cups = even.cups(grid, infusions=3)

    assert cups.shape == (grid.n_nodes, 3)
    assert [pour.number for pour in even.brew(infusions=3).pours][-3:] == [1, 2, 3]
    assert np.all(cups > 0)
