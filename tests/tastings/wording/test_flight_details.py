"""What is said beside a flight's answer holds for the flight it is said of."""

import pytest

from tastings.wording.flight_details import best_value, better_costs_more, expected_loss, least_difference
from tastings.wording.flight_steps import plan_is_made
from tastings.wording.flights import progress


@pytest.mark.parametrize(("points", "written"), [(0.0, "less than 0.1"), (0.099, "less than 0.1"), (0.26, "0.3")])
def test_expected_loss_is_never_a_round_zero(points, written):
    assert f"give away {written} points" in expected_loss(points)


def test_value_is_said_of_the_lots_that_there_are():
    assert best_value(["A (40.00 EUR a kg)", "B (60.00 EUR a kg)"]) == (
        "No cheaper lot scored better than these, from the cheapest to the best: A (40.00 EUR a kg) and"
        " B (60.00 EUR a kg). Each other lot costs as much as one of these, or more, and is no better."
    )
    assert better_costs_more() == "For the money none is beaten: each lot that is better also costs more."


def test_pairs_that_are_not_listed_are_counted():
    pairs = [("A", "B"), ("A", "C")]
    assert least_difference(0.5, pairs=pairs, n_pairs=2).endswith("A above B; A above C.")
    assert least_difference(0.5, pairs=pairs, n_pairs=9).endswith("A above B; A above C; and 7 more.")


def test_plan_that_was_just_begun_stands_at_nothing():
    assert "being made: 0\u00a0%." in plan_is_made(0.0)
    assert progress(tasted=0, planned=0) == ""
    assert progress(tasted=1, planned=2) == "1 of 2 cups tasted"
