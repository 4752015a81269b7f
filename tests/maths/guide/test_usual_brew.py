"""A guide request without heat, leaf and rinse takes them from the lot's own sessions."""

from dataclasses import replace

import pytest

from tastings.answers.guide import brew_guide_answer
from tastings.maths.brewing.extraction import default_grid
from tastings.maths.curve.evidence import COOLEST_C, RATIO_RANGE, prepare_sessions
from tastings.maths.guide.plan import brew_guide
from tastings.maths.guide.pots import LONG_MUG, STANDARD_BOWL, PotRequest
from tastings.maths.guide.usual_brew import UsualBrew
from tests.maths.brewed import brew_of, pour_of

FALLING = (6.0, 5.0, 4.0, 3.0, 2.0)


def cool_brew(session="s", *, kettle_c=81.0, leaf_g=4.0, rinsed=False):
    """Return a session as green leaf is brewed (common practice, no source)."""
    brew = brew_of(session, strength=FALLING, leaf_g=leaf_g)
    pours = tuple(replace(pour, kettle_c=kettle_c) for pour in brew.pours if rinsed or pour.number > 0)
    return replace(brew, pours=pours)


def usual_of(*brews):
    return UsualBrew.of(prepare_sessions(brews, grid=default_grid(), scales={})[0])


def test_heat_leaf_and_rinse_are_those_of_the_sessions():
    found = brew_guide([cool_brew()], pot=PotRequest(vessel_ml=165.0))
    assert (found.vessel.kettle_c, found.vessel.leaf_g, found.rinse_s) == (81.0, 6.0, None)
    assert found.serving.rinse_ml == 0


def test_requested_parameters_are_used():
    found = brew_guide([cool_brew()], pot=PotRequest(kettle_c=95.0, leaf_g=7.0))
    assert (found.vessel.kettle_c, found.vessel.leaf_g) == (95.0, 7.0)


def test_median_session_decides_and_most_of_them_about_the_rinse():
    brews = [
        cool_brew("a", kettle_c=80.0, leaf_g=3.0),
        cool_brew("b", kettle_c=82.4, leaf_g=4.4, rinsed=True),
        cool_brew("c", kettle_c=99.0, leaf_g=5.0, rinsed=True),
    ]
    found = usual_of(*brews)
    assert (found.kettle_c, found.leaf_g_per_ml, found.rinsed) == (82.0, pytest.approx(0.04), True)
    assert usual_of(brews[0], brews[1]).rinsed is False
    assert usual_of() is None


def test_one_cooled_kettle_moves_nothing():
    brew = cool_brew(kettle_c=96.0)
    cooled = replace(brew, pours=tuple(replace(p, kettle_c=70.0) if p.number == 3 else p for p in brew.pours))
    assert usual_of(cooled).kettle_c == 96.0


def test_mug_takes_the_heat_and_works_its_own_leaf_out():
    found = brew_guide([cool_brew()], pot=PotRequest(style=LONG_MUG))
    with_heat = brew_guide([cool_brew()], pot=PotRequest(style=LONG_MUG, kettle_c=81.0))
    assert found == with_heat
    assert found.rinse_s is None


def test_evaluation_stays_as_the_standard_lays_it_down():
    assert brew_guide([cool_brew()], pot=PotRequest(style=STANDARD_BOWL)).vessel.kettle_c == 100.0


def test_heat_and_leaf_stay_within_what_can_be_foretold():
    cold = UsualBrew(kettle_c=20.0, leaf_g_per_ml=9.0, rinsed=False).filled(PotRequest())
    assert cold.kettle_c == COOLEST_C
    assert cold.leaf_g == pytest.approx(RATIO_RANGE[1] * 5.0)


def test_kettle_of_a_high_place_is_never_above_its_boiling_point():
    found = brew_guide([brew_of("s", strength=FALLING)], pot=PotRequest(altitude_m=3000.0))
    assert brew_guide_answer(found).pot.kettle_c == 90.0  # boiling point at 3 km, as in test_brewing


def test_pours_without_ratings_count_as_brewed():
    brew = replace(cool_brew(), pours=(*cool_brew().pours, pour_of(6, kettle_c=81.0)))
    assert usual_of(brew).kettle_c == 81.0


def test_leaf_goes_by_the_water_that_was_poured_and_not_by_what_the_pot_could_hold():
    brew = cool_brew(leaf_g=7.0)
    brew = replace(brew, vessel_ml=300.0, pours=tuple(replace(pour, water_ml=110.0) for pour in brew.pours))
    assert brew_guide([brew], pot=PotRequest(vessel_ml=110.0)).vessel.leaf_g == 7.0


def test_water_of_a_high_place_is_carried_down_as_hot_as_it_was():
    high = replace(cool_brew(kettle_c=100.0), altitude_m=3000.0)
    assert usual_of(high).kettle_c == 90.0  # boiling point at 3 km, as in test_brewing


def test_small_pot_is_weighed_more_finely():
    usual = UsualBrew(kettle_c=90.0, leaf_g_per_ml=0.0093, rinsed=False)
    assert usual.filled(PotRequest(vessel_ml=30.0)).leaf_g == pytest.approx(0.3)
