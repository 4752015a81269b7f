"""Every reason for leaving a session or an infusion out has a sentence, with its figures and units."""

from typing import get_args

import pytest

from tastings.maths.curve.evidence import LeftOut, Reason
from tastings.wording.left_out import left_out_reason

REASONS = {
    "vessel_volume": (
        {"vessel_ml": 5000.0, "low_ml": 15.0, "high_ml": 3000.0},
        "a vessel of 5000 ml is outside 15 to 3000 ml",
    ),
    "leaf_ratio": (
        {"leaf_g": 60.0, "vessel_ml": 100.0, "ratio": 13.2},
        "60 g in 100 ml is 13 times the even brew's leaf; only 0.2 to 5 times can be compared",
    ),
    "no_infusion": ({}, "no infusion was recorded"),
    "not_rated": ({}, "no infusion was rated"),
    "none_usable": ({}, "none of its tasted infusions can be used"),
    "recorded_twice": ({}, "recorded twice; the record with more ratings is used"),
    "beyond_last": ({"last": 60}, "beyond infusion 60"),
    "gap": ({"first": 4, "last": 12}, "infusions 4 to 12 were not recorded: the leaf's state is unknown"),
    "filled_in": ({}, "not recorded; taken to be poured like its neighbours"),
    "not_tasted": ({}, "marked as not tasted"),
    "too_cool": (
        {"kettle_c": 41.5, "coolest_c": 50.0},
        "water of 41.5 °C is below 50 °C, too cool for the extraction model",
    ),
    "too_long": (
        {"contact_s": 1800.4, "longest_s": 1200.0},
        "a contact of 1800 s is longer than 1200 s, too long for the extraction model",
    ),
    "not_steeped": ({}, "the leaf was not steeped"),
    "water_ratio": (
        {"water_ml": 8.0, "leaf_g": 5.0},
        "8 ml of water on 5 g of leaf cannot be compared with the even brew",
    ),
    "outlier": (
        {},
        "its ratings of returning sweetness are nothing like those of the other sessions; its curve does without",
    ),
    "before_roast": ({}, "tasted before the roast"),
}


@pytest.mark.parametrize("reason", get_args(Reason))
def test_reason_is_said_with_its_figures(reason):
    values, sentence = REASONS[reason]
    descriptor = "returning_sweetness" if reason == "outlier" else None
    assert left_out_reason(LeftOut("s1", 4, reason, values=values, descriptor=descriptor)) == sentence
