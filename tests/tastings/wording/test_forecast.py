"""A vessel is named as one would at the table: its leaf only where it is not as much to the water."""

from dataclasses import replace

from tastings.maths.guide.pots import Vessel
from tastings.wording.forecast import vessel_words

BOWL = Vessel(leaf_g=5.23, vessel_ml=110.0)
CLAY = Vessel(leaf_g=5.7, vessel_ml=120.0, vessel_material="unglazed_clay", warmed=False)


def test_vessel_of_as_much_leaf_to_the_water_is_named_without_it():
    assert vessel_words(BOWL, other=CLAY) == "porcelain of 110 ml, warmed"
    assert vessel_words(CLAY, other=BOWL) == "unglazed clay of 120 ml, not warmed"


def test_vessel_of_more_leaf_to_the_water_is_named_with_it():
    more = replace(BOWL, leaf_g=6.5)
    assert vessel_words(more, other=CLAY) == "porcelain of 110 ml, warmed, 6.5 g"
    assert vessel_words(CLAY, other=more) == "unglazed clay of 120 ml, not warmed, 5.7 g"
