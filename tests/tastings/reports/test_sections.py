"""What the report tells beside the curves."""

import pytest

from tastings.reports.sections import (
    ageing_section,
    agreement_section,
    colour_hex,
    count_in_pot,
    guide_section,
    photo_rows,
    pot_words,
    time_words,
)

POT = {
    "leaf_g": 5.5, "vessel_ml": 110.0, "vessel_material": "unglazed_clay", "warmed": True, "altitude_m": None,
    "kettle_c": 99, "pour_s": 6, "sessions": 28, "shop": "Harbour shop",
}  # fmt: skip
GUIDE = {
    "pot": POT,
    "infusions": [
        {"number": 1, "steep_s": 22.0, "expected_strength": 6.04, "low": 5.7, "high": 6.46},
        {"number": 2, "steep_s": 95.0, "expected_strength": 5.9, "low": 5.6, "high": 6.2},
        {"number": 3, "steep_s": 300.0, "expected_strength": 2.1, "low": 1.9, "high": 2.4},
    ],
    "rinse_s": 10.0,
    "last_worthwhile": 2,
    "target_strength": 6.0,
    "change": {"too_strong": {"detail": "Too strong: 4 s less."}, "too_thin": {"detail": "Too thin: 5 s more."}},
    "caffeine": {"per_pot_mg": {"low": 62.0, "high": 170.0}, "per_cup_mg": {"low": 2.0, "high": 18.0}},
}
PANEL = {"tasters": 3, "lots": 10, "icc_single": 0.779, "icc_mean": 0.973, "kendall_w": 0.906}
READINESS = {
    "verdict": "resting",
    "reason": "Still resting: with 10 % probability the roast is under 3 today.",
    "level": 3.0,
    "roasted_on": "2026-02-09",
    "today": {"day": 30, "date": "2026-03-11", "mean": 3.541, "low": 2.993, "high": 4.125},
    "expected": {"date": "2026-05-01", "low": "2026-04-20", "high": None, "level": 0.8},
    "liking": {"per_30_days": 0.068, "low": -0.068, "high": 0.204, "probability_rising": 0.74},
    "next": "Taste it again about 1 April 2026.",
}
PHOTO = {
    "id": "p1", "of": "liquor", "number": 3, "day": "2026-03-04T12:00:00Z", "href": "/x.jpg", "file": "kept-1",
    "width": 320, "height": 240,
    "colour": {
        "verdict": "told",
        "lab": {"l": 57.78, "a": 24.88, "b": 53.92},
        "terms": [{"label": "amber", "probability": 0.72}, {"label": "golden", "probability": 0.2}],
    },
}  # fmt: skip


@pytest.mark.parametrize(
    ("seconds", "said"), [(3, "3 s"), (59.6, "1 min"), (60, "1 min"), (95, "1 min 35 s"), (300, "5 min"), (0, "0 s")]
)
def test_steeps_are_told_as_a_clock_is_read(seconds, said):
    assert time_words(seconds) == said


def test_guide_names_the_pot_where_it_is_from_and_each_steep():
    told = guide_section(GUIDE)
    assert told["pot"] == (
        "5.5 g in 110 ml of unglazed clay, warmed, kettle at 99 °C, poured out over 6 s:"
        " the vessel of most of the last 28 sessions at Harbour shop, leaf and heat as this lot was tasted."
        " Rinse first, 10 s, poured away."
    )
    assert told["aim"] == "Each cup aims at a strength of 6.0. The last one worth drinking in this pot is infusion 2."
    assert [(row["steep"], row["strength"], row["span"]) for row in told["rows"]] == [
        ("22 s", "6.0", "5.7 to 6.5"),
        ("1 min 35 s", "5.9", "5.6 to 6.2"),
    ]  # the third is not worth drinking
    assert told["change"] == ["Too strong: 4 s less.", "Too thin: 5 s more."]
    assert told["caffeine"].endswith("62 to 170 mg in all its cups, 2 to 18 mg in one.")


def test_guide_without_infusions_is_absent():
    assert guide_section(None) is None
    assert guide_section({"pot": POT, "infusions": []}) is None


def test_pot_of_nobody_is_the_even_brews():
    pot = {**POT, "sessions": 0, "shop": None, "pour_s": None}
    assert pot_words(pot) == "5.5 g in 110 ml of unglazed clay, warmed, kettle at 99 °C"
    assert ": the even brew's vessel, leaf and heat as" in guide_section({**GUIDE, "pot": pot})["pot"]


def test_guide_tells_its_notes():
    assert guide_section({**GUIDE, "notes": ["Infusion 2: a guess."]})["notes"] == ["Infusion 2: a guess."]
    assert guide_section(GUIDE)["notes"] == []


@pytest.mark.parametrize(
    ("reached", "said"),
    [(1, "6.0, which the leaf gives up to infusion 1. "), (0, "6.0, which the leaf does not give"), (None, "6.0. ")],
)
def test_guide_says_how_far_the_leaf_reaches(reached, said):
    assert said in guide_section({**GUIDE, "last_at_target": reached})["aim"]


def test_guide_shows_the_times_when_no_cup_is_worth_drinking():
    told = guide_section({**GUIDE, "last_worthwhile": 0})
    assert len(told["rows"]) == 3
    assert "No cup is likely to be worth drinking" in told["aim"]


@pytest.mark.parametrize(("even", "said"), [(9, "it gives about 2."), (2.2, ""), (None, "")])
def test_count_of_the_guides_pot_is_told_where_it_is_another(even, said):
    told = count_in_pot({"recommended": even}, GUIDE)
    assert (told.endswith(said), bool(told)) == (True, bool(said))
    assert count_in_pot({"recommended": 9}, None) == ""


def test_guide_says_when_there_is_no_rinse():
    assert guide_section({**GUIDE, "rinse_s": None})["pot"].endswith("as this lot was tasted. No rinse.")


def test_guide_tells_times_that_are_guesses_as_such():
    sure, unsure, never = (guide_section({**GUIDE, "last_sure": sure, "last_at_target": 2}) for sure in (2, 1, None))
    assert [row["steep"] for row in sure["rows"]] == [row["steep"] for row in never["rows"]] == ["22 s", "1 min 35 s"]
    assert [row["steep"] for row in unsure["rows"]] == ["22 s", "about 1 min 35 s"]


def test_agreement_tells_the_distance_from_the_curve_and_each_taster():
    points = [{"infusion": 1, "mean": 5.0}, {"infusion": 2, "mean": 6.0}]
    tasted = [
        {"taster": taster, "infusion": infusion, "descriptor": "strength", "adjusted": adjusted}
        for taster, infusion, adjusted in (("a", 1, 5.5), ("a", 2, 6.5), ("b", 1, 4.0), ("b", 2, 6.0), ("b", 9, 1.0))
    ]
    said = agreement_section(tasted, points, people={"a": "Ina", "b": "Bo"}, panel=PANEL)
    away = "points from the curve on average"
    of_one_and_all = "for one taster's rating and 0.97 for the mean of them (1: the teas alone decide)"
    assert said == [
        f"On this lot, 4 strength ratings of 2 tasters, brought to the even brew, lie 0.5 {away}.",
        "On average above or below it: Bo \u22120.5 and Ina +0.5 points.",
        f"Over 10 lots that 3 tasters all rated, the intraclass correlation of strength is 0.78 {of_one_and_all}.",
        "They put the lots in the same order to 0.91 (Kendall's W, 0 to 1).",
    ]


def test_agreement_over_lots_is_open_until_several_are_rated_by_all():
    tasted = [{"taster": "a", "infusion": 1, "descriptor": "strength", "adjusted": 5.0}]
    said = agreement_section(tasted, [{"infusion": 1, "mean": 5.0}], people={}, panel={"icc_single": None})
    assert said[-1].startswith("How the tasters agree over several lots is not known yet")
    assert agreement_section([], [], people={}, panel=None) == []


def test_ageing_tells_the_roast_today_and_when_it_is_expected_to_be_ready():
    assert ageing_section({"roast": "dark"}, READINESS) == [
        "Roasted on 9 February 2026. Still resting: with 10 % probability the roast is under 3 today.",
        "Roast today, 30 days on: 3.5 (3.0 to 4.1).",
        "Expected under 3.0: about 1 May 2026 (not before 20 April 2026, with 90\u00a0% each).",
        "Liking moves by +0.07 points in 30 days (\u22120.07 to +0.20).",
        "Taste it again about 1 April 2026.",
    ]


@pytest.mark.parametrize(
    ("roast", "readiness", "said"),
    [
        ("none", {"roasted_on": None}, 0),
        (None, {"roasted_on": None}, 0),
        ("dark", {"roasted_on": None}, 1),
        ("dark", None, 0),
    ],
)
def test_ageing_of_an_unroasted_or_undated_lot(roast, readiness, said):
    assert len(ageing_section({"roast": roast}, readiness)) == said


def test_photo_tells_the_cup_and_the_colour_of_its_liquor():
    [row] = photo_rows([PHOTO])
    assert row["caption"] == "Liquor, cup 3, 4 March 2026"
    assert row["colour"] == "Liquor: amber (72\u00a0%) or golden (20\u00a0%)"
    # 57.78, 24.88, 53.92 is sRGB 199, 120, 40 (colour-science 0.4.7, as in tests/tastings/photos/test_liquor.py)
    assert row["swatch"] == "#c77828"
    [dark] = photo_rows([{**PHOTO, "colour": {"verdict": "cannot_tell", "lab": None, "terms": None}, "number": None}])
    assert (dark["caption"], dark["colour"], dark["swatch"]) == ("Liquor, 4 March 2026", "", "")


def test_colour_beyond_the_screen_is_cut_to_it():
    assert colour_hex({"l": 100, "a": 0, "b": 0}) == "#ffffff"
    assert colour_hex({"l": 0, "a": 0, "b": 0}) == "#000000"
    assert colour_hex({"l": 90, "a": -120, "b": 120}).startswith("#00")
