"""Forecasts, as a client gets them: of the whole from the first cups, and of another vessel."""

from datetime import UTC, datetime

import pytest

from tastings.actions.developments import refresh_development
from tastings.maths.forecast.course import HIT_RATES
from tastings.wording.numbers import percent
from tests.api.openapi import DOCUMENT, schema_errors
from tests.api.phone import sync
from tests.api.problems import refusal
from tests.api.test_development import session_of
from tests.factories import LotFactory


@pytest.fixture
def lot(taster, lexicon):
    return LotFactory(team=taster.team, by=taster.user, kind="oolong")


@pytest.fixture
def rated(taster, lot):
    sync(taster.client, session_of(lot.id, [8, 7, 6]))
    refresh_development(lot.id, now=datetime.now(UTC))
    return lot


def address(lot):
    return f"/api/v1/lots/{lot.id}/other-vessel"


def documented(answer, name):
    assert set(answer) == set(DOCUMENT["components"]["schemas"][name]["properties"])
    return not schema_errors(name, answer)


def test_three_infusions_are_answered_with_a_forecast(viewer, rated):
    found = viewer.client.get(f"/api/v1/lots/{rated.id}/development").json()["forecast"]
    shares = HIT_RATES[3, 1]
    assert (found["rated_to"], found["course_right"], found["count_covered"]) == (3, None, shares.count_covered)
    assert found["sentence"].startswith("This is a forecast: only the first 3 cups were rated.")
    assert found["sentence"].endswith(
        f" In {percent(shares.count_covered)} of simulated tastings that ended there,"
        " the true number of infusions lay within the range."
    )


def test_other_vessel_is_answered_cup_by_cup(viewer, rated):
    asked = {"vessel_material": "cast_iron", "warmed": "false", "vessel_ml": 150}
    answer = viewer.client.get(address(rated), asked)
    found = answer.json()

    assert documented(found, "OtherVessel")
    assert (found["first"]["vessel_material"], found["other"]["vessel_material"]) == ("porcelain", "cast_iron")
    assert (found["first"]["leaf_g"], found["other"]["leaf_g"]) == (5.0, 6.818)  # as much leaf per water
    assert found["cups"][0]["weaker"] > 0.8
    assert [one["infusion"] for one in found["cups"]] == list(range(1, 13))
    again = viewer.client.get(address(rated), asked, HTTP_IF_NONE_MATCH=answer["ETag"])
    assert (again.status_code, again.content) == (304, b"")


def test_other_vessel_of_an_unrated_lot_cannot_be_told(viewer, lot):
    found = viewer.client.get(address(lot)).json()
    assert documented(found, "OtherVessel")
    assert (found["other"], found["cups"], found["weaker"]) == (None, [], None)
    assert found["sentence"] == "We cannot tell yet: nobody has rated the strength of this lot."


@pytest.mark.parametrize(
    ("asked", "field"),
    [({"leaf_g": 90}, "leaf_g"), ({"guests": 2}, "guests"), ({"vessel_material": "tin"}, "vessel_material")],
)
def test_vessel_that_cannot_be_is_refused_by_name(viewer, rated, asked, field):
    status, _, problems = refusal(viewer.client.get(address(rated), asked))
    assert (status, {name for name, _code in problems}) == (422, {field})
