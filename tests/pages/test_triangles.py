"""Triangle tests in the browser: set up, answered, taken back; the sentences follow ISO 4120."""

import re

import pytest

from tastings.models import Trial, TriangleTest
from tests.factories import LotFactory
from tests.pages.test_people import browser_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def lots(buyer):
    sample = LotFactory(team=buyer.team, by=buyer.user, name="Mist Ridge sample", status="sample")
    arrived = LotFactory(team=buyer.team, by=buyer.user, name="Mist Ridge", from_lot=sample)
    return arrived, sample


@pytest.fixture
def address(lots, buyer):
    """Of a test that the buyer has set up."""
    arrived, sample = lots
    page = browser_of(buyer).get(f"/lots/{arrived.id}/triangles/").content.decode()
    assert f'value="{sample.id}" selected' in page
    made = {"against": str(sample.id), "held_on": "2026-03-04", "remarks": "before noon"}
    done = browser_of(buyer).post(f"/lots/{arrived.id}/triangles/", made)
    assert (done.status_code, TriangleTest.objects.get().against_id) == (302, sample.id)
    return done["Location"]


def test_answers_are_counted_and_one_can_be_taken_back(address, buyer):
    """Of 12 answers 8 must be right at 5 % (ISO 4120:2021, table A.1), so 8 show a difference and 7 none."""
    browser = browser_of(buyer)
    for n in range(12):
        assert browser.post(address, {"taster": "", "correct": "yes" if n < 8 else "no"}).status_code == 302
    page = browser.get(address).content.decode()
    assert "They can be told apart: 8 of 12 found the odd cup" in page

    [first, *_] = re.findall(r'name="withdraw" value="([^"]+)"', page)
    browser.post(address, {"withdraw": first})
    browser.post(address, {"taster": "", "correct": "no"})
    page = browser.get(address).content.decode()
    assert "Nothing shows that they can be told apart: 7 of 12 found the odd cup." in page
    assert "With 12 answers at least 8 would have to be right." in page
    assert Trial.objects.filter(withdrawn_at__isnull=False).count() == 1


def test_six_tasters_in_turn_get_the_six_orders(address, buyer):
    browser, orders = browser_of(buyer), set()
    for _ in range(6):
        page = browser.get(address).content.decode()
        orders.add(tuple(re.findall(r"<li><bdi>([^<]+)</bdi></li>", page.partition("<ol>")[2].partition("</ol>")[0])))
        browser.post(address, {"taster": "", "correct": "no"})

    assert len(orders) == 6
    assert all(sorted(map(order.count, set(order))) == [1, 2] for order in orders)


def test_answer_without_a_choice_is_refused_beside_the_field(address, buyer):
    page = browser_of(buyer).post(address, {"taster": ""})

    assert (page.status_code, Trial.objects.count()) == (422, 0)
    assert '<p class="wrong" id="id_correct_error">' in page.content.decode()


def test_taster_answers_in_a_buyers_test_for_themselves_alone(address, taster):
    browser = browser_of(taster)
    page = browser.get(address).content.decode()
    refused = browser.post(address, {"taster": "", "correct": "yes"})
    done = browser.post(address, {"taster": str(taster.user.id), "correct": "yes"})

    assert ("The next taster" in page, "Blind answer" in page) == (False, True)  # the order is for who pours
    assert (refused.status_code, done.status_code, Trial.objects.get().taster) == (403, 302, taster.user)


def test_day_is_written_as_a_browsers_date_field_takes_it_in_german_too(lots, buyer):
    page = browser_of(buyer).get(f"/lots/{lots[0].id}/triangles/", headers={"Accept-Language": "de"}).content.decode()

    assert re.search(r'<html lang="de', page)
    assert re.search(r'name="held_on" value="\d{4}-\d\d-\d\d"', page)
