"""What the report tells beside the curves."""

import pytest

from tastings.reports.sections import (
    ageing_section,
    agreement_section,
    colour_hex,
    photo_rows,
)

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
