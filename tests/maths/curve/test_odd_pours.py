"""Odd pours in simulated sessions: found, and their neighbours not blamed."""

import numpy as np
import pytest

from benchmarks.odd_pours import COOLED, KETTLES, METHODS, TROUBLES, contact_rates, kettle_rates
from tastings.maths.curve.odd_pours import cool_pours, odd_contacts

START = 4111
INNER = tuple(one for one in TROUBLES if one.startswith("inner"))


def rates(trouble, method="the method"):
    return contact_rates(trouble, METHODS[method], sessions=120, start=START)


@pytest.mark.parametrize("trouble", INNER)
def test_odd_pour_inside_a_session_is_found_and_no_other_blamed(trouble):
    found = rates(trouble)
    assert np.mean([one.detected for one in found]) > 0.9
    assert max(one.blamed for one in found) < 0.06  # of the worst habit


def test_ordinary_sessions_have_no_odd_pour():
    assert max(one.blamed for one in rates("nothing odd")) < 0.03


@pytest.mark.parametrize(("trouble", "least"), [("first pour three times", 0.65), ("last pour three times", 0.75)])
def test_odd_pour_at_an_end_is_mostly_found(trouble, least):
    found = rates(trouble)
    assert np.mean([one.detected for one in found]) > least
    assert np.mean([one.blamed for one in found]) < 0.03


def test_two_odd_pours_are_found():
    found = rates("two inner pours, twice or half")
    assert np.mean([one.detected for one in found]) > 0.7
    assert np.mean([one.blamed for one in found]) < 0.05


def test_new_habit_is_no_odd_pour():
    assert np.mean([one.blamed for one in rates("all from some pour on doubled")]) < 0.1


@pytest.mark.parametrize("other", ["neighbours", "line"])
def test_median_of_neighbours_and_robust_line_blame_more(other):
    for trouble in ("nothing odd", *INNER, "all from some pour on doubled"):
        assert np.mean([one.blamed for one in rates(trouble)]) <= np.mean([one.blamed for one in rates(trouble, other)])


@pytest.mark.parametrize("kettle", KETTLES)
@pytest.mark.parametrize("trouble", COOLED[1:])
def test_cooled_kettle_is_found_and_pours_after_it_that_nobody_read_are_not_blamed(kettle, trouble):
    found = kettle_rates(trouble, kettle, sessions=300, start=START)
    assert found.detected > 0.95
    assert found.blamed < 0.08


def test_place_of_the_odd_pour_does_not_depend_on_the_unit_of_time():
    steeps_s = np.array([12.0, 14.0, 50.0, 18.0, 21.0, 24.0])
    found, slower = (odd_contacts(range(1, 7), one.tolist()) for one in (steeps_s, 3 * steeps_s))
    assert list(found) == list(slower) == [2]
    assert slower[2] == pytest.approx(3 * found[2])


def test_pours_between_that_nobody_tasted_leave_room_for_longer_steeps():
    contacts_s = [10, 11, 12, 28, 30, 33]
    assert odd_contacts([1, 2, 3, 9, 10, 11], contacts_s) == odd_contacts([1, 2, 3, 4, 5, 6], contacts_s) == {}


def test_two_pours_are_too_few_to_call_one_odd():
    assert odd_contacts([1, 2], [10, 100]) == {}
    assert odd_contacts([], []) == {}


def test_water_that_nobody_read_is_never_odd():
    assert cool_pours([98.0, 85.0, 85.0], is_read=[True, True, False]) == [1]
    assert cool_pours([98.0, 85.0, 98.0], is_read=[False] * 3) == []
