"""Leaf and water for guests, caffeine and cost."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tastings.maths.brewing.heat import steeping_of
from tastings.maths.guide.guests import Price, caffeine, caffeine_mg_per_g, caffeine_shares, cost, serving
from tastings.maths.guide.plan import Tea, brew_guide
from tastings.maths.guide.pots import LONG_MUG, PotRequest, Vessel
from tests.maths.guide.test_plan import EVEN_POT, LOT

POT = Vessel(leaf_g=5.0, vessel_ml=110.0)


def pours_of(vessel, steeps_s):
    return tuple(vessel.pour(number, steep_s=steep_s) for number, steep_s in enumerate(steeps_s, start=1))


def test_caffeine_of_three_long_steeps_brackets_the_measured_shares():
    # Hicks, Hsieh and Bell 1996: 69, 23 and 8 % of the caffeine in three five-minute steeps of boiling water;
    # loose leaf 65.8 and 25.1 %
    pot = Vessel(leaf_g=2.8, vessel_ml=140.0, vessel_g=118.0, warmed=False)
    pours = pours_of(pot, [297.5] * 3)
    least, most = caffeine_shares(steeping_of(pot.brew(pours), pours))
    for measured in ((0.69, 0.92, 1.0), (0.658, 0.909, 1.0)):
        assert all(np.cumsum(least) < measured)
        assert np.cumsum(most)[:2] == pytest.approx(measured[:2], abs=0.08)
        assert all(np.cumsum(most)[:2] > measured[:2])
    assert most.sum() <= 1


def test_caffeine_of_a_pot_stays_below_what_the_leaf_holds():
    found = caffeine(vessel=POT, kind="oolong", pours=pours_of(POT, [600.0] * 6), cup_ml=50.0, rounds=6)
    low_mg, high_mg = found.per_pot_mg
    least, most = caffeine_mg_per_g("oolong")
    assert 0.9 * 5 * least < low_mg <= 5 * least
    assert 0.95 * 5 * most < high_mg <= 5 * most
    assert most / least < 1.6  # much better known than of any tea


@pytest.mark.parametrize(
    ("kind", "mg_per_g"), [("oolong", 23.8), ("oolong", 27.0), ("black", 32.8), ("green", 36.6), ("yellow", 43.0)]
)
def test_caffeine_of_a_kind_holds_what_was_measured(kind, mg_per_g):
    """Hicks, Hsieh and Bell 1996: 23.8 (oolong), 32.8 (black), 36.6 (green); class means of a survey: 27 (oolong) to 43
    (yellow)."""
    least, most = caffeine_mg_per_g(kind)
    assert least < mg_per_g < most
    assert caffeine_mg_per_g("white")[0] <= least < most <= caffeine_mg_per_g("white")[1]


def test_caffeine_of_a_cup_in_a_five_minute_steep_is_in_the_measured_range():
    # Hicks 1996, second hand: about 50 to 70 mg in the first cup, of about 2.5 g and 180 ml (from memory)
    pot = Vessel(leaf_g=2.5, vessel_ml=180.0)
    low_mg, high_mg = caffeine(vessel=pot, kind="", pours=pours_of(pot, [300.0]), cup_ml=180.0, rounds=1).per_cup_mg
    assert low_mg < 50
    assert high_mg > 70


@given(
    steeps_s=st.lists(st.floats(3.0, 300.0), min_size=1, max_size=12),
    leaf_g=st.floats(1.0, 15.0),
    kettle_c=st.floats(60.0, 100.0),
    cup_ml=st.floats(5.0, 300.0),
)
def test_caffeine_is_a_range_and_grows_with_the_rounds(steeps_s, leaf_g, kettle_c, cup_ml):
    pot = replace(POT, leaf_g=leaf_g, kettle_c=kettle_c)
    pours = pours_of(pot, steeps_s)
    found = [caffeine(vessel=pot, kind="", pours=pours, cup_ml=cup_ml, rounds=n) for n in range(1, len(steeps_s) + 1)]
    for one in found:
        for low, high in (one.per_cup_mg, one.per_pot_mg, one.per_guest_mg):
            assert 0 <= low <= high
        assert one.per_pot_mg[1] <= leaf_g * 43 * 1.15 + 1e-9
        assert one.per_guest_mg[1] == pytest.approx(one.per_pot_mg[1] * cup_ml / 110)
    totals = [one.per_pot_mg[1] for one in found]
    assert totals == sorted(totals)


def test_rinse_is_thrown_away_with_its_caffeine():
    rinse = replace(POT.pour(0, steep_s=10.0), pour_s=0.0)
    cups = pours_of(POT, [20.0, 20.0])
    drunk = caffeine(vessel=POT, kind="oolong", pours=(rinse, *cups), cup_ml=50.0, rounds=2)
    whole = caffeine(
        vessel=POT,
        kind="oolong",
        pours=(replace(rinse, number=1), *(replace(one, number=one.number + 1) for one in cups)),
        cup_ml=50.0,
        rounds=3,
    )
    assert drunk.per_pot_mg[0] < whole.per_pot_mg[0]
    assert drunk.per_pot_mg[1] < whole.per_pot_mg[1]
    assert caffeine(vessel=POT, kind="oolong", pours=(rinse,), cup_ml=50.0, rounds=5) is None
    assert caffeine(vessel=POT, kind="oolong", pours=(rinse, *cups), cup_ml=50.0, rounds=0) is None


@given(guests=st.integers(1, 200), cup_ml=st.floats(5.0, 500.0), rounds=st.integers(0, 12), rinsed=st.booleans())
def test_there_is_enough_for_every_guest_and_no_pot_too_many(guests, cup_ml, rounds, rinsed):
    found = serving(vessel=POT, guests=guests, cup_ml=cup_ml, rounds=rounds, rinsed=rinsed)
    assert found.round_ml >= guests * cup_ml - 1e-6
    assert (found.pots - 1) * POT.vessel_ml < guests * cup_ml or found.pots == 1
    assert found.leaf_g == found.pots * POT.leaf_g
    assert found.total_ml == pytest.approx(found.pots * 110 * (rounds + rinsed + 1))


def test_guests_of_a_mug_each_have_their_own():
    found = brew_guide(LOT, pot=PotRequest(style=LONG_MUG, guests=4), tea=Tea(kind="green")).serving
    assert (found.pots, found.rounds, found.round_ml, found.rinse_ml, found.warming_ml) == (4, 1, 1200.0, 0.0, 0.0)
    assert found.total_ml == 1200.0


def test_cost_is_that_of_the_leaf():
    # 5 g at 200 a kg is 1.00 a pot; five rounds of 110 ml give 0.55 litres, eleven cups of 50 ml
    found = cost(Price(per_kg=200.0, currency="EUR"), vessel=POT, cup_ml=50.0, rounds=5)
    assert (found.per_pot, found.currency) == (pytest.approx(1.0), "EUR")
    assert found.per_litre == pytest.approx(1 / 0.55)
    assert found.per_cup == pytest.approx(1 / 11)


@pytest.mark.parametrize("rounds", [0, None])
def test_cost_of_a_cup_is_unknown_while_none_is_worth_drinking(rounds):
    found = cost(Price(per_kg=200.0, currency=None), vessel=POT, cup_ml=50.0, rounds=rounds)
    assert (found.per_cup, found.per_litre, found.per_pot, found.currency) == (None, None, pytest.approx(1.0), None)


def test_guide_has_guests_caffeine_and_cost_together():
    tea = Tea(kind="oolong", price=Price(per_kg=100.0, currency="USD"))
    found = brew_guide(LOT, pot=replace(EVEN_POT, guests=5, cup_ml=60.0), tea=tea)
    rounds = found.last_worthwhile
    assert found.serving.pots == 3
    assert found.serving.total_ml == 3 * 110 * (rounds + 2)
    assert found.cost.per_litre == pytest.approx(0.5 / (0.11 * rounds), abs=0.001)
    assert found.caffeine.per_pot_mg[1] <= 5 * 27 * 1.15


def test_herbal_lot_has_no_caffeine():
    found = brew_guide(LOT, pot=EVEN_POT, tea=Tea(kind="herbal"))
    assert found.caffeine is None
    assert found.kind == "herbal"
