"""A lot beside the other harvests of its producer: which lots these are, and what is said of them."""

from datetime import UTC, datetime

import pytest

from tastings.actions.developments import refresh_development
from tests.api.openapi import schema_errors
from tests.api.phone import sync
from tests.api.test_development import session_of
from tests.factories import LotFactory, web_browser
from tests.pages.test_browser import Seen

THIS = {"producer": "Mill Stream", "kind": "oolong", "harvest_year": 2026, "harvest_season": "spring"}


@pytest.fixture
def lot(taster, lexicon):
    return LotFactory(team=taster.team, by=taster.user, name="Mill Stream oolong", **THIS)


def listed(person, lot):
    return person.client.get(f"/api/v1/lots/{lot.id}/other-harvests").json()["harvests"]


@pytest.mark.parametrize(
    ("changed", "is_other"),
    [
        ({"harvest_year": 2025}, True),
        ({"harvest_season": "autumn"}, True),
        ({"harvest_year": 2025, "producer": " MILL-STREAM "}, True),
        ({"harvest_year": 2025, "producer": "\uff2dill Stream"}, True),  # a full-width M
        ({"harvest_season": "Spring"}, False),
        ({"harvest_year": None}, False),
        ({"harvest_year": 2025, "producer": "Mill Stream & Sons"}, False),
        ({"harvest_year": 2025, "kind": "green"}, False),
        ({"harvest_year": 2025, "removed": True}, False),
    ],
)
def test_other_harvest_is_of_the_same_producer_and_kind_from_another_year_or_season(taster, lot, changed, is_other):
    LotFactory(team=taster.team, by=taster.user, **{**THIS, **changed})
    assert len(listed(taster, lot)) == is_other


def test_sample_is_shown_as_the_lot_that_was_bought_on_it(taster, lot):
    sample = LotFactory(team=taster.team, by=taster.user, name="Sample", **{**THIS, "harvest_year": 2025})
    assert [one["name"] for one in listed(taster, lot)] == ["Sample"]
    LotFactory(team=taster.team, by=taster.user, name="Bought", from_lot=sample, **{**THIS, "harvest_year": 2025})
    assert [one["name"] for one in listed(taster, lot)] == ["Bought"]


def test_lots_of_another_team_are_none(taster, lot, stranger):
    LotFactory(team=stranger.team, by=stranger.user, **{**THIS, "harvest_year": 2025})
    assert listed(taster, lot) == []


def test_answer_and_report_say_what_differs_beyond_doubt(taster, lot):
    other = LotFactory(team=taster.team, by=taster.user, name="Older", **{**THIS, "harvest_year": 2024})
    for one, strength in ((lot, 8.5), (other, 3.0)):
        for _ in range(4):
            sync(taster.client, session_of(one.id, [strength] * 6))
        refresh_development(one.id, now=datetime.now(UTC))
    answer = taster.client.get(f"/api/v1/lots/{lot.id}/other-harvests").json()
    [found] = answer["harvests"]

    assert schema_errors("OtherHarvests", answer) == []
    assert (found["sessions"], found["shared_tasters"]) == (4, 1)
    assert [one["descriptor"] for one in found["differences"]] == ["strength"]
    assert found["differences"][0]["low"] > 3
    browser = web_browser()
    browser.force_login(taster.user)
    text = " ".join(Seen(browser.get(f"/lots/{lot.id}/report/").content.decode()).text.split())
    assert "Other harvests of this producer Spring 2024 harvest, Older: Compared with it: strength" in text
