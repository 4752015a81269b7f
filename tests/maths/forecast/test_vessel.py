"""The same tea in another vessel: the heat balance reckoned by hand, its laws, and simulated truth."""

from dataclasses import replace

import numpy as np
import pytest

from benchmarks.forecasts import WORLDS, one_vessel
from tastings.maths.brewing.even_brew import BOILING
from tastings.maths.forecast.vessel import vessel_forecast
from tastings.maths.guide.pots import PotError, PotRequest
from tests.maths.brewed import brew_of

FIRST_THREE = (6.0, 6.5, 6.0)
LOT = [brew_of(f"s{i}", taster=f"t{i}", strength=FIRST_THREE) for i in range(3)]


def in_pot(brews=LOT, **pot):
    return vessel_forecast(brews, pot=PotRequest(**pot), even_brew=BOILING)


def test_same_vessel_is_no_forecast_of_a_difference():
    found = in_pot(vessel_material="porcelain")
    assert [(one.first, one.stronger, one.weaker) for one in found.cups] == [
        (one.other, 0.001, 0.001) for one in found.cups
    ]
    assert (found.first, found.rated_to) == (found.other, 3)


def test_heavy_cold_iron_pot_weakens_the_first_cup_most():
    # 500 g of iron at 20 deg C takes 500 x 0.455 x 80 J from 110 g of water: 28 deg C less before the leaf is wetted
    found = in_pot(vessel_material="cast_iron", vessel_g=500.0, warmed=False)
    first, second, *_ = found.cups
    assert first.other.mean < first.first.mean - 0.5
    assert first.weaker > 0.8
    assert first.weaker > second.weaker


def test_more_leaf_is_surely_stronger_and_less_leaf_weaker():
    more, less = (in_pot(vessel_material="unglazed_clay", leaf_g=leaf_g) for leaf_g in (8.0, 3.0))
    assert (more.stronger > 0.9, more.weaker, less.weaker > 0.9, less.stronger) == (True, 0.001, True, 0.001)


def test_vessel_nobody_weighed_is_less_certain_than_one_that_was():
    weighed, guessed = (
        in_pot(vessel_material="cast_iron", vessel_g=vessel_g, warmed=False) for vessel_g in (466.0, None)
    )
    widths = [one.cups[0].other.high - one.cups[0].other.low for one in (weighed, guessed)]
    assert widths[1] > widths[0]


def test_unrated_lot_has_no_forecast_and_a_pot_beyond_prediction_is_refused():
    assert in_pot([brew_of("s")]) is None
    with pytest.raises(PotError) as refused:
        in_pot(vessel_material="glass", leaf_g=90.0)
    assert refused.value.field == "leaf_g"


def test_vessel_of_most_sessions_is_the_first():
    glass = [replace(one, vessel_material="glass", vessel_ml=150.0) for one in LOT]
    found = in_pot([*glass, brew_of("other", strength=FIRST_THREE)], vessel_material="porcelain")
    assert (found.first.vessel_material, found.first.vessel_ml, found.other.vessel_ml) == ("glass", 150.0, 150.0)


def test_probabilities_come_true_in_worlds_that_the_method_does_not_assume():
    """``docs/forecasts.md`` has the whole table."""
    lots = [
        one_vessel(draw, sessions=1 + 2 * (lot % 2), rated_to=3, seed=[41, number, lot])
        for number, draw in enumerate(WORLDS.values())
        for lot in range(60)
    ]
    stated, true = (np.concatenate([getattr(one, name).ravel() for one in lots]) for name in ("stated", "came_true"))
    open_ = (stated > 0.1) & (stated < 0.9)
    assert open_.sum() > 100
    assert abs(stated[open_].mean() - true[open_].mean()) < 0.12
    assert true[stated > 0.9].mean() > 0.75
    assert true[stated < 0.1].mean() < 0.05
    assert 0.7 < np.mean([one.covered for one in lots]) < 0.92
