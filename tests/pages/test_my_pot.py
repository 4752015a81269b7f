"""The reader's own pot: asked for on report, card and shared link, kept for the next lot, and refused with a reason."""

import re

import pytest

from pages.my_pot import COOKIE
from tests.api.reported import tasted_lot
from tests.factories import phone, web_browser
from tests.pages.test_browser import Seen


@pytest.fixture
def lot(taster, lexicon):
    return tasted_lot(taster)


@pytest.fixture
def browser(taster):
    found = web_browser()
    found.force_login(taster.user)
    return found


def text_of(answer):
    return " ".join(Seen(answer.content.decode()).text.split())


def test_assistant_finds_the_steeps_for_90_ml_and_three_guests(browser, lot):
    page = browser.get(f"/lots/{lot.id}/report/")
    names = {value for tag, name, value in Seen(page.content.decode()).attributes if name == "name" and tag != "meta"}
    answer = browser.get(f"/lots/{lot.id}/report/", {"vessel_ml": "90", "guests": "3"})

    assert {"vessel_ml", "vessel_material", "leaf_g", "guests", "kettle_c"} <= names
    assert "In your pot" in text_of(answer)
    assert "90 ml (porcelain)" in text_of(answer)
    assert "For 3 guests, 50 ml each: 2 such pots for every round" in text_of(answer)


@pytest.mark.parametrize("form", ["report", "card"])
def test_pot_is_kept_for_the_next_time_and_given_up(browser, lot, form):
    page = f"/lots/{lot.id}/{form}/"
    assert COOKIE not in browser.get(page).cookies
    asked = browser.get(page, {"vessel_ml": "90", "leaf_g": "4.5"})
    again = browser.get(page)

    assert (asked.cookies[COOKIE]["httponly"], asked.cookies[COOKIE]["samesite"]) == (True, "Lax")
    assert "4.5 g" in text_of(again)
    assert 'value="4.5"' in again.content.decode()
    assert "4,5 g" in text_of(browser.get(page, headers={"Accept-Language": "de"}))
    browser.get(page, {"usual-pot": ""})
    assert "4.5 g" not in text_of(browser.get(page))


@pytest.mark.parametrize("form", ["report", "card"])
def test_heat_of_the_kettle_goes_with_one_tea_and_is_not_kept_for_the_next(browser, lot, form):
    page = f"/lots/{lot.id}/{form}/"
    asked = browser.get(page, {"vessel_ml": "90", "guests": "3", "kettle_c": "77"})
    again = browser.get(page)

    assert "water at 77 °C" in text_of(asked)
    assert "77" not in asked.cookies[COOKIE].value
    assert ("90 ml" in text_of(again), "water at 77 °C" in text_of(again)) == (True, False)
    assert 'value="3"' in again.content.decode()
    browser.cookies[COOKIE] = "vessel_ml=90.0&kettle_c=77.0"  # as it was once remembered
    assert "water at 77 °C" not in text_of(browser.get(page))


def test_pot_of_another_material_is_set_beside_that_of_the_tastings(browser, lot):
    page = f"/lots/{lot.id}/report/"
    assert "The same tea in another pot" not in text_of(browser.get(page))
    found = text_of(browser.get(page, {"vessel_ml": "90", "vessel_material": "unglazed_clay"}))

    assert "The same tea in another pot" in found
    assert "With the same steeps in unglazed clay of 90 ml, warmed, instead of porcelain of 110 ml" in found
    assert "This is a forecast: only the first 5 cups were rated." in found


def test_german_reader_writes_a_decimal_comma(browser, lot):
    sent = {"vessel_ml": "90", "leaf_g": "4,5"}
    answer = browser.get(f"/lots/{lot.id}/report/", sent, headers={"Accept-Language": "de"})

    assert "4,5 g in 90 ml" in text_of(answer)


@pytest.mark.parametrize(
    ("sent", "field", "words"),
    [
        ({"vessel_ml": "9000"}, "vessel_ml", "Must be 15 to 1000."),
        ({"vessel_ml": "90", "leaf_g": "80"}, "leaf_g", "for 90 ml of water"),
        ({"vessel_ml": "much"}, "vessel_ml", "Enter a number"),
        ({"vessel_ml": "90", "guests": "0"}, "guests", "Must be 1 to "),
    ],
)
def test_pot_that_cannot_be_is_refused_beside_its_field(browser, lot, sent, field, words):
    answer = browser.get(f"/lots/{lot.id}/report/", sent)
    [why] = re.findall(rf'id="pot-{field}_error">(.*?)</p>', answer.content.decode())

    assert words in why
    assert COOKIE not in answer.cookies
    assert '<details class="other-pot" open>' in answer.content.decode()


def test_cookie_that_does_not_hold_changes_nothing(browser, lot):
    plain = text_of(browser.get(f"/lots/{lot.id}/report/"))
    for written in ("vessel_ml=%00", "vessel_ml=1e9&leaf_g=x", "=&&;", "x" * 3000):
        browser.cookies[COOKIE] = written
        assert text_of(browser.get(f"/lots/{lot.id}/report/")) == plain


def test_shared_link_takes_a_pot_too(buyer, lot):
    browser = web_browser()
    for shows in ("report", "card"):
        given = buyer.client.post("/api/v1/shares/", {"lot": str(lot.id), "shows": shows}).json()["link"]
        address = given.removeprefix("http://testserver")
        assert "90 ml" in text_of(browser.get(address, {"vessel_ml": "90", "lang": "en"}))
        assert "90 ml" in text_of(browser.get(address))
    assert "90 ml" not in text_of(phone().get(address))
