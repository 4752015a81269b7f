"""Departures, the counterfactual and what to taste next, each code in its sentence."""

import pytest

from tastings.maths.brewing.even_brew import BOILING
from tastings.maths.curve.counterfactual import Counterfactual, CounterfactualPoint
from tastings.maths.curve.next_session import NextSession
from tastings.wording.development import counterfactual_sentence, departure_detail, next_session_sentence
from tests.tastings.reports.sample import departure

WHOLE = {"whole_session": True, "n_cups": 8}


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        (
            {"kind": "cold_vessel", "was": 84.6, "usual": 92.4},
            "the vessel was not warmed: the water settled at 85 °C instead of 92 °C; cup about 0.5 points weaker",
        ),
        (
            {"kind": "leaf_ratio", "was": 120.0, "leaf_g": 7.5, "ratio": 1.375, "usual": None, "effect": 0.8, **WHOLE},
            "7.5 g of leaf in 120 ml, 1.38 times the even brew's; cups on average about 0.8 points stronger",
        ),
        (
            {"kind": "leaf_ratio", "was": 80.0, "usual": 110.0, "effect": 0.44},
            "80 ml of water against 110 ml usual in this session; cup about 0.4 points stronger",
        ),
        (
            {"kind": "cool_water", "was": 90.1, "usual": 100.0, "at_boiling_point": True, **WHOLE},
            (
                "water of about 90 °C all through, the boiling point at this height, against the even brew's 100 °C; "
                "cups on average about 0.5 points weaker"
            ),
        ),
        (
            {"kind": "cool_water", "was": 72.0, "usual": 80.0, **WHOLE},
            (
                "water of about 72 °C all through, against the even brew's 80 °C; "
                "cups on average about 0.5 points weaker"
            ),
        ),
        (
            {"kind": "cool_water", "was": 92.0, "usual": 98.0},
            "water of 92 °C against 98 °C usual in this session; cup about 0.5 points weaker",
        ),
        (
            {"kind": "short_steep", "was": 8.0, "usual": 20.0, **WHOLE},
            (
                "a contact of about 8 s all through, against 20 s of the even brew; "
                "cups on average about 0.5 points weaker"
            ),
        ),
        (
            {"kind": "long_steep", "was": 45.0, "usual": 20.0, "effect": 1.1},
            "a contact of 45 s against about 20 s of the infusions around it; cup about 1.1 points stronger",
        ),
    ],
)
def test_departure_is_said_with_its_figures_and_its_effect(changed, sentence):
    assert departure_detail(departure(**changed)) == sentence


@pytest.mark.parametrize(
    ("points", "sentence"),
    [
        ((), ""),
        ((CounterfactualPoint(1, 3, 0, shown=5.0, without=5.05, brewing=-0.05, contact_s=20.0),), ""),
        # the ratings moved the other way: it was not the brewing
        ((CounterfactualPoint(1, 3, 3, shown=5.0, without=4.2, brewing=-0.6, contact_s=20.0),), ""),
        (
            (
                CounterfactualPoint(1, 3, 1, shown=5.0, without=5.4, brewing=-0.4, contact_s=20.0),
                CounterfactualPoint(2, 3, 2, shown=5.0, without=3.94, brewing=0.9, contact_s=24.0),
            ),
            (
                "Brewed stronger than the even brew, infusion 2 averages 5.0 points of returning sweetness in 3"
                " ratings; on the even brew it would be about 3.9."
            ),
        ),
        (
            (CounterfactualPoint(7, 2, 2, shown=4.0, without=5.9, brewing=-1.9, contact_s=44.0),),
            (
                "Brewed weaker than the even brew, infusion 7 averages 4.0 points of returning sweetness in 2 ratings;"
                " on the even brew it would be about 5.9."
            ),
        ),
        # the contact is named where it moved the cup that way
        (
            (CounterfactualPoint(7, 2, 2, shown=7.5, without=5.4, brewing=2.0, contact_s=44.6),),
            (
                "With a contact of about 45 s instead of the even brew's 20 s, infusion 7 averages 7.5 points of"
                " returning sweetness in 2 ratings; on the even brew it would be about 5.4."
            ),
        ),
        (
            (CounterfactualPoint(1, 5, 5, shown=5.2, without=7.5, brewing=-1.9, contact_s=12.0),),
            (
                "With a contact of about 12 s instead of the even brew's 20 s, infusion 1 averages 5.2 points of"
                " returning sweetness in 5 ratings; on the even brew it would be about 7.5."
            ),
        ),
        # one rating may be high or low for other reasons
        ((CounterfactualPoint(7, 1, 1, shown=4.0, without=5.9, brewing=-1.9, contact_s=44.0),), ""),
    ],
)
def test_counterfactual_names_the_infusion_that_the_brewing_moved_most(points, sentence):
    assert counterfactual_sentence(Counterfactual("returning_sweetness", points), even_brew=BOILING) == sentence


@pytest.mark.parametrize(
    ("found", "sentence"),
    [
        (NextSession(code="first_session"), "Taste a first session, rating the strength of every infusion."),
        (
            NextSession(code="rate_strength"),
            "Rate the strength of every infusion: without it neither course nor number of infusions can be told.",
        ),
        (
            NextSession(code="pour_further", reach=6, steeps_low=5, steeps_high=9),
            (
                "Pour further: strength is rated up to infusion 6 only, and the last one worth drinking may be "
                "infusion 9 (80 % interval 5 to 9)."
            ),
        ),
        (
            NextSession(code="second_taster", sessions=1),
            (
                "Let a second taster brew it: the only session so far came from one taster, "
                "whose own scale is in the figures."
            ),
        ),
        (
            NextSession(code="second_taster", sessions=3),
            (
                "Let a second taster brew it: all 3 sessions so far came from one taster, "
                "whose own scale is in the figures."
            ),
        ),
        (
            NextSession(code="join_late", infusion=4, probabilities=(0.42,)),
            (
                "Let one taster join at infusion 4, the cups before it marked as not tasted: whether the late cups seem"
                " weak because tasters tire (42 % probable) or because the leaf gives less is open."
            ),
        ),
        (
            NextSession(code="profile", labels=("build_up", "quick_fade"), probabilities=(0.472, 0.411)),
            "Rate infusions 1 to 5 of an even brew: build up (47 %) and quick fade (41 %) are not yet told apart.",
        ),
        (
            NextSession(code="infusion", infusion=9, low=1.25, high=3.58),
            "Rate infusion 9 of an even brew once more: its strength is the least certain, 1.2 to 3.6.",
        ),
        (
            NextSession(code="heat", low=94.6, high=97.2),
            (
                "Brew it once with cooler water: every rated infusion so far was poured at 95 to 97 °C, "
                "so how the leaf answers to heat is assumed, not seen."
            ),
        ),
        (
            NextSession(code="heat", low=73.0, high=76.0),
            (
                "Brew it once with water hotter or cooler by 5 °C or more: every rated infusion so far was poured at"
                " 73 to 76 °C, so how the leaf answers to heat is assumed, not seen."
            ),
        ),
        (
            NextSession(code="little", within=0.84),
            "Little is open: the strength of every infusion is known to within 0.8 points either way.",
        ),
    ],
)
def test_next_session_is_said_with_its_figures(found, sentence):
    assert next_session_sentence(found) == sentence
