import json
from dataclasses import replace

import numpy as np
import pytest

from tastings.maths.brewing import even_brew, steeped
from tastings.maths.brews import BrewError
from tastings.maths.extraction import cup_strength, make_grid, paired_cups
from tastings.maths.guide import LONGEST_S, Pot, guide
from tests.maths.brewed import brew_of

STEADY = (6.5, 6.7, 6.5, 6.2, 5.8, 5.4, 5.0, 4.6, 4.2, 3.9)
LOT = [brew_of(f"s{i}", taster=f"t{i}", strength=STEADY) for i in range(4)]
EVEN_POT = Pot(leaf_g=5.0, vessel_ml=110.0, kettle_c=100.0)


def steeps_s(found):
    return [one.steep_s for one in found.infusions]


def test_times_grow_as_the_leaf_gives_out():
    found = steeps_s(guide(LOT, pot=EVEN_POT))
    assert found[1:] == sorted(found[1:])
    assert found[-1] > found[1]


def test_cup_stays_at_the_target_while_it_can():
    found = guide(LOT, pot=EVEN_POT)
    kept = [one for one in found.infusions if 1 < one.steep_s < LONGEST_S]
    assert len(kept) >= 5
    for one in kept:
        assert one.expected_strength == pytest.approx(found.target_strength, abs=0.3)
        assert one.low < one.expected_strength < one.high


@pytest.mark.parametrize(
    ("changed", "longer"),
    [({"leaf_g": 8.0}, False), ({"leaf_g": 3.0}, True), ({"kettle_c": 85.0}, True), ({"altitude_m": 3000.0}, True)],
)
def test_pot_decides_the_times(changed, longer):
    even, other = guide(LOT, pot=EVEN_POT), guide(LOT, pot=replace(EVEN_POT, **changed))
    assert other.target_strength == pytest.approx(even.target_strength)
    assert (sum(steeps_s(other)[:5]) > sum(steeps_s(even)[:5])) is longer


def test_slow_pour_is_taken_off_the_steep():
    quick, slow = guide(LOT, pot=replace(EVEN_POT, pour_s=2.0)), guide(LOT, pot=replace(EVEN_POT, pour_s=16.0))
    assert steeps_s(slow)[3] < steeps_s(quick)[3]
    assert slow.infusions[3].contact_s == pytest.approx(quick.infusions[3].contact_s, abs=2.0)
    assert slow.infusions[3].pour_s == pytest.approx(16.0)


def test_cold_vessel_asks_for_a_longer_first_steep():
    assert steeps_s(guide(LOT, pot=replace(EVEN_POT, warmed=False)))[0] > steeps_s(guide(LOT, pot=EVEN_POT))[0]


def test_guide_of_an_unrated_lot_is_empty():
    found = guide([], pot=EVEN_POT)
    assert (found.infusions, found.last_worthwhile, found.target_strength) == ((), None, None)
    assert any("120 to 220 mg" in one for one in found.cautions)


def test_thin_lot_has_no_worthwhile_infusion():
    thin = [brew_of(f"s{i}", taster=f"t{i}", strength=[0.5, 0.5, 0.5, 0.0]) for i in range(6)]
    found = guide(thin, pot=replace(EVEN_POT, leaf_g=1.5))
    assert found.last_worthwhile == 0


def test_last_worthwhile_infusion_is_in_the_list():
    found = guide(LOT, pot=EVEN_POT)
    assert found.last_worthwhile in {one.number for one in found.infusions}


def test_impossible_pot_is_refused():
    with pytest.raises(BrewError, match="leaf_g"):
        guide(LOT, pot=replace(EVEN_POT, leaf_g=0.0))


def test_leaves_one_by_one_equal_the_grid():
    grid, even = make_grid(n_k=3, n_tau=2, n_n=2), even_brew()
    steeping = steeped(even, even.pours)
    k, tau, n = (axis.ravel() for axis in np.meshgrid(grid.k_per_min, grid.tau_s, grid.n, indexing="ij"))
    found = paired_cups(steeping, k_per_min=k, tau_s=tau, n=n)
    assert found == pytest.approx(cup_strength(steeping, grid=grid), rel=1e-9)


def test_json_has_the_contracts_names():
    found = guide(LOT, pot=EVEN_POT).as_json()
    assert list(found) == ["infusions", "last_worthwhile", "target_strength", "cautions"]
    assert list(found["infusions"][0]) == [
        "number", "steep_s", "pour_s", "contact_s", "expected_strength", "low", "high",
    ]  # fmt: skip
    json.dumps(found, allow_nan=False)
