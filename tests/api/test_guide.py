"""The brew guide, as a client gets it."""

from uuid import uuid4

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tastings.maths.brewing.even_brew import even_brew_of
from tests.api.openapi import DOCUMENT, schema_errors
from tests.api.phone import sync
from tests.api.problems import refusal
from tests.api.test_development import session_of
from tests.factories import LotFactory, web_browser

NOTHING = ("infusions", "last_at_target", "last_sure", "last_worthwhile", "target_strength", "target_from", "caffeine")


def address(lot):
    return f"/api/v1/lots/{lot.id}/brew-guide"


@pytest.fixture
def lot(taster, lexicon):
    return LotFactory(team=taster.team, by=taster.user, kind="oolong", price_per_kg=240, currency="EUR")


@pytest.fixture
def rated(taster, lot):
    sync(taster.client, session_of(lot.id, [6, 7.5, 7, 6.5, 6, 5]))
    return lot


def is_as_documented(answer):
    assert set(answer) == set(DOCUMENT["components"]["schemas"]["BrewGuide"]["properties"])
    return schema_errors("BrewGuide", answer) == []


def test_guide_of_an_unrated_lot_holds_what_is_known_without_tasting(viewer, lot):
    found = viewer.client.get(address(lot)).json()

    assert is_as_documented(found)
    assert [found[name] or None for name in NOTHING] == [None] * len(NOTHING)
    assert (found["style"], found["pot"]["leaf_g"], found["pot"]["vessel_ml"]) == ("small_pot", 5.0, 110.0)
    assert found["cost"] == {"per_cup": None, "per_litre": None, "per_pot": 1.2, "currency": "EUR"}


@pytest.mark.parametrize("kind", ["green", "yellow", "white", "scented", "black", "oolong"])
def test_untasted_lot_gets_the_even_brew_of_its_kind_in_every_answer(viewer, lexicon, kind):
    lot = LotFactory(team=viewer.team, by=viewer.user, kind=kind)
    expected = even_brew_of(kind)  # common practice, no source, but for oolong and dark: GB/T 23776
    even = viewer.client.get(f"/api/v1/lots/{lot.id}/development").json()["even_brew"]
    small_pot, mug = (viewer.client.get(address(lot), {"style": style}).json() for style in ("small_pot", "long_mug"))

    assert even["kettle_c"] == small_pot["pot"]["kettle_c"] == mug["pot"]["kettle_c"] == expected.kettle_c
    assert even["leaf_g"] == small_pot["pot"]["leaf_g"] == expected.leaf_g
    assert even["rinse_s"] == small_pot["rinse_s"] == expected.rinse_s
    browser = web_browser()
    browser.force_login(viewer.user)
    card = browser.get(f"/lots/{lot.id}/card.md").content.decode()
    assert f"{expected.leaf_g:g} g" in card
    assert f"{expected.kettle_c:g} °C" in card


@pytest.mark.parametrize(
    "asked",
    [
        {},
        {"guests": 6, "cup_ml": 40, "vessel_ml": 150},
        {"style": "small_pot", "leaf_g": 7, "vessel_ml": 140, "kettle_c": 92, "vessel_material": "glass",
         "vessel_g": 180, "warmed": "false", "pour_s": 9, "altitude_m": 1200},
        {"style": "long_mug"},
        {"style": "long_mug", "vessel_ml": 400, "guests": 3, "warmed": "true"},
        {"style": "standard_bowl"},
        {"style": "standard_bowl", "vessel_ml": 150, "altitude_m": 900},
        {"style": "covered_bowl"},
    ],
)  # fmt: skip
def test_guide_is_as_documented_in_every_style(viewer, rated, asked):
    answer = viewer.client.get(address(rated), asked)

    assert answer.status_code == 200
    found = answer.json()
    assert is_as_documented(found)
    assert found["style"] == asked.get("style", "small_pot")
    assert found["infusions"]
    assert found["pot"]["warmed"] is (asked["warmed"] == "true" if "warmed" in asked else found["style"] == "small_pot")
    again = viewer.client.get(address(rated), asked, HTTP_IF_NONE_MATCH=answer["ETag"])
    assert (again.status_code, again.content) == (304, b"")


def test_parameters_are_documented():
    parameters = DOCUMENT["paths"]["/api/v1/lots/{lot_id}/brew-guide"]["get"]["parameters"]
    assert {one["name"] for one in parameters if one["in"] == "query"} == {
        "style", "vessel_ml", "leaf_g", "kettle_c", "vessel_material", "vessel_g", "warmed", "pour_s", "altitude_m",
        "guests", "cup_ml",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("asked", "field", "code"),
    [
        ({"style": "cold_brew"}, "style", "choice"),
        ({"cups": 3}, "cups", "unknown_filter"),
        ({"leaf_g": 0}, "leaf_g", "range"),
        ({"leaf_g": "a pinch"}, "leaf_g", "type"),
        ({"leaf_g": "nan"}, "leaf_g", "type"),
        ({"leaf_g": "1e308"}, "leaf_g", "range"),
        ({"leaf_g": 900}, "leaf_g", "range"),
        ({"vessel_ml": 1}, "vessel_ml", "range"),
        ({"vessel_ml": 9000}, "vessel_ml", "range"),
        ({"kettle_c": -5}, "kettle_c", "range"),
        ({"kettle_c": 30}, "kettle_c", "range"),
        ({"kettle_c": 101}, "kettle_c", "range"),
        ({"pour_s": 3600}, "pour_s", "range"),
        ({"altitude_m": 9001}, "altitude_m", "range"),
        ({"vessel_g": 1e9}, "vessel_g", "range"),
        ({"vessel_material": "plastic"}, "vessel_material", "choice"),
        ({"warmed": "perhaps"}, "warmed", "type"),
        ({"guests": 0}, "guests", "range"),
        ({"guests": 2.5}, "guests", "type"),
        ({"guests": 1000}, "guests", "range"),
        ({"cup_ml": 0.5}, "cup_ml", "range"),
        ({"style": "long_mug", "pour_s": 5}, "pour_s", "other_style"),
        ({"style": "long_mug", "cup_ml": 50}, "cup_ml", "other_style"),
        ({"style": "long_mug", "vessel_ml": 60}, "vessel_ml", "range"),
        ({"style": "standard_bowl", "leaf_g": 5}, "leaf_g", "other_style"),
        ({"style": "standard_bowl", "vessel_ml": 250}, "vessel_ml", "choice"),
        ({"style": "covered_bowl", "guests": 2}, "guests", "other_style"),
    ],
)
def test_what_cannot_be_brewed_is_refused_by_name(viewer, rated, asked, field, code):
    assert refusal(viewer.client.get(address(rated), asked)) == (422, "invalid", {(field, code)})


def test_evaluation_of_a_herbal_lot_is_refused(viewer, taster, lexicon):
    herbal = LotFactory(team=taster.team, by=taster.user, kind="herbal")

    answer = viewer.client.get(address(herbal), {"style": "standard_bowl"})
    assert refusal(answer) == (422, "invalid", {("style", "choice")})
    assert viewer.client.get(address(herbal)).json()["cost"] is None


numbers = st.one_of(
    st.floats(), st.integers(), st.sampled_from(["", "x", "1e400", "-0", "0x1F", "\u0661", " 5", "5,5"])
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    asked=st.dictionaries(
        st.sampled_from(
            ["vessel_ml", "leaf_g", "kettle_c", "vessel_g", "pour_s", "altitude_m", "guests", "cup_ml", "warmed"]
        ),
        numbers,
        min_size=1,
    ),
    style=st.sampled_from(["small_pot", "long_mug", "standard_bowl", "covered_bowl"]),
)
def test_no_value_breaks_the_guide(viewer, rated, asked, style):
    answer = viewer.client.get(address(rated), {**asked, "style": style})
    assert answer.status_code in (200, 422)
    if answer.status_code == 422:
        assert {problem["field"] for problem in answer.json()["problems"]} <= set(asked) | {"style"}


def test_guide_of_a_lot_that_is_not_there_is_refused(viewer):
    assert refusal(viewer.client.get(f"/api/v1/lots/{uuid4()}/brew-guide"))[:2] == (404, "not-here")
