"""The page that sets an arrived lot beside the sample it was bought on."""

import re

import pytest

from tastings.models import Session
from tests.factories import LotFactory
from tests.pages.test_people import browser_of
from tests.sync.test_panel import tasted

pytestmark = pytest.mark.django_db


@pytest.fixture
def sample(buyer):
    return LotFactory(team=buyer.team, by=buyer.user, name="Mist Ridge sample", status="sample")


@pytest.fixture
def arrived(buyer, sample):
    return LotFactory(team=buyer.team, by=buyer.user, name="Mist Ridge", from_lot=sample)


def address(lot):
    return f"/lots/{lot.id}/arrival/"


def test_arrived_lot_and_sample_stand_side_by_side_with_what_to_do_next(sample, arrived, buyer, taster, lexicon):
    for who in (buyer, taster):
        for _ in range(3):
            tasted(who, sample)
            tasted(who, arrived, offset=-3.0)
    browser_of(buyer).post(f"/lots/{arrived.id}/triangles/", {"against": str(sample.id), "held_on": "2026-03-04"})
    answer = buyer.client.get(f"/api/v1/lots/{arrived.id}/arrival-check").json()
    page = browser_of(buyer).get(address(arrived)).content.decode()

    assert answer["verdict"] == "different"
    assert "Different from the sample: strength" in page
    [strength] = [one for one in answer["descriptors"] if one["descriptor"] == "strength"]
    shown = f"Sample {strength['sample']:.1f}, arrived {strength['arrived']:.1f}"
    assert shown in page
    assert ": differs</p>" in page
    assert "Means of the first 8 cups of both, brewed alike." in page
    assert page.count("<li>\n        <h3>") == len(answer["descriptors"])
    for href in (
        f"/table/#/pot/lot/{arrived.id}/arrival",
        f"/table/#/pot/lot/{sample.id}",
        f"/lots/{arrived.id}/triangles/",
    ):
        assert f'href="{href}"' in page
    assert re.search(r"Triangle tests of the two.*No answers yet", page, re.DOTALL)
    for lot, other in ((arrived, sample), (sample, arrived)):
        report = browser_of(buyer).get(f"/lots/{lot.id}/report/").content.decode()
        assert f'<a href="/lots/{other.id}/report/"><bdi>{other.name}</bdi></a>: {answer["reason"]}' in report
        assert f'href="{address(arrived)}"' in report


def test_session_of_an_arrival_tasting_is_written_down_with_its_purpose(arrived, taster):
    page = browser_of(taster).get(address(arrived)).content.decode()
    form = re.search(r'href="(/records/session/new/\?[^"]*)"', page)[1].replace("&amp;", "&")
    sent = {"started_at": "2026-03-04T12:00", "leaf_g": "5", "vessel_ml": "110", "purpose": "arrival"}

    assert '<option value="arrival" selected>' in browser_of(taster).get(form).content.decode()
    assert browser_of(taster).post(form, sent).status_code == 302
    assert Session.objects.get(lot=arrived).purpose == "arrival"


def test_page_of_a_sample_names_what_was_bought_on_it(sample, arrived, viewer):
    page = browser_of(viewer).get(address(sample)).content.decode()

    assert "does not say which sample it was bought on" in page
    assert f'<a href="{address(arrived)}"><bdi>Mist Ridge</bdi></a>' in page
    assert "Name the sample it was bought from" not in page  # a viewer cannot


def test_nothing_rated_in_both_says_what_to_do(arrived, taster):
    page = browser_of(taster).get(address(arrived)).content.decode()

    assert "Cannot tell: no descriptor was rated both in the sample and in the arrived lot." in page
    assert "Rate the same descriptors in the arrived lot as in the sample" in page
    assert "Word by word" not in page
