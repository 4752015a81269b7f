"""Forms of records: what a refused one says, what a chosen pot fills in, times in minutes, the next infusion."""

import re

import pytest

from tastings.models import Infusion, Session
from teams.models import Shop
from tests.api.records import Place
from tests.factories import LotFactory, PotFactory, SessionFactory
from tests.pages.test_records import browser_of, form_on, page_of

pytestmark = pytest.mark.usefixtures("lexicon")
LOT = {"name": "Mist Ridge", "kind": "oolong", "status": "sample"}
WRONG_LOT = LOT | {"elevation_low_m": "1200", "elevation_high_m": "800"}


@pytest.mark.parametrize(
    ("language", "heading", "link", "detail"),
    [
        ("en", "Nothing was stored.", "Elevation from, m", "Must not be more than “Elevation to, m”."),
        ("de", "Nichts wurde gespeichert.", "Höhenlage ab, m", "Darf nicht größer als „Höhenlage bis, m“ sein."),
    ],
)
def test_refused_lot_begins_with_a_linked_summary_in_the_words_of_the_form(buyer, language, heading, link, detail):
    headers = {"Accept-Language": language}
    text = browser_of(buyer).post("/records/lot/new/", WRONG_LOT, headers=headers).content.decode()
    summary = text[text.index('role="alert"') : text.index('<form class="record"')]

    assert heading in summary
    assert f'<a href="#id_elevation_low_m"><bdi>{link}</bdi></a>' in summary
    assert f'id="id_elevation_low_m_error">{detail}</p>' in text
    assert "elevation_high_m." not in text


@pytest.mark.parametrize(("type_name", "wrong", "field"), [
    ("session", {"more_low": "3", "more_high": "1"}, "more_low"), ("infusion", {"number": "one"}, "number"),
    ("note", {"intensity": "11"}, "intensity"), ("descriptor", {"label": ""}, "label"), ("pot", {"name": ""}, "name"),
])  # fmt: skip
def test_every_form_of_a_record_names_the_wrong_field_on_top(taster, type_name, wrong, field):
    place = Place(taster)
    browser, address = browser_of(taster), page_of(type_name, getattr(place, type_name).id)
    refused = browser.post(address, form_on(browser.get(address)) | wrong)
    text = refused.content.decode()

    assert refused.status_code == 422
    assert text.index(f'href="#id_{field}"') < text.index('<form class="record"')
    assert "more_high." not in text


def test_note_without_word_and_text_is_told_the_labels_of_both(taster):
    place = Place(taster)
    address = f"/records/note/new/?session={place.session.id}"
    text = browser_of(taster).post(address, {"moment": "mouth"}).content.decode()

    assert "A new record must have “Word” or “In your own words”." in text


def test_currency_that_is_no_code_is_refused_without_a_pattern(buyer):
    text = browser_of(buyer).post("/records/lot/new/", LOT | {"currency": "€"}).content.decode()

    assert 'id="id_currency_error">Three letters, as in EUR.</p>' in text


@pytest.fixture
def glass(taster):
    """A pot that differs from the usual one in everything."""
    return PotFactory(team=taster.team, by=taster.user, name="Glass pot", vessel_ml=150, vessel_material="glass",
                      vessel_g=210, leaf_g=None, shop=None)  # fmt: skip


@pytest.fixture
def new_session(taster):
    """The address of a form that proposes the usual pot of the shop."""
    usual = PotFactory(team=taster.team, by=taster.user, name="Covered bowl", vessel_ml=110, vessel_g=130, leaf_g=5)
    Shop.objects.filter(id=taster.member.shop_id).update(usual_pot=usual.id)
    return f"/records/session/new/?lot={LotFactory(team=taster.team, by=taster.user).id}"


def test_chosen_pot_fills_in_what_was_left_as_proposed(taster, glass, new_session):
    browser = browser_of(taster)
    proposed = form_on(browser.get(new_session))
    answer = browser.post(new_session, proposed | {"pot": str(glass.id)})
    session = Session.objects.get()

    assert (proposed["vessel_ml"], proposed["vessel_material"]) == ("110", "porcelain")
    assert answer.status_code == 302
    assert (session.pot_id, session.vessel_ml, session.vessel_material, session.vessel_g) == (
        glass.id, 150, "glass", 210,
    )  # fmt: skip
    assert session.leaf_g == 5  # weighed, and no property of the pot


def test_chosen_pot_fills_an_empty_form_too(taster, glass):
    browser, address = (
        browser_of(taster),
        f"/records/session/new/?lot={LotFactory(team=taster.team, by=taster.user).id}",
    )
    page = browser.get(address)
    [volume] = re.findall(r'<input[^>]* name="vessel_ml"[^>]*>', page.content.decode())
    alone = browser.post(address, form_on(page) | {"leaf_g": "5"})
    answer = browser.post(address, form_on(page) | {"leaf_g": "5", "pot": str(glass.id)})

    assert ("required" in volume, alone.status_code, answer.status_code) == (False, 422, 302)
    assert 'id="id_vessel_ml_error"' in alone.content.decode()
    assert (Session.objects.get().vessel_ml, Session.objects.get().vessel_material) == (150, "glass")


@pytest.mark.parametrize("typed", [{"vessel_ml": "120"}, {"vessel_material": "glazed_stoneware"}, {"vessel_g": "99"}])
def test_vessel_that_was_typed_and_is_not_the_pots_is_refused(taster, glass, new_session, typed):
    browser = browser_of(taster)
    refused = browser.post(new_session, form_on(browser.get(new_session)) | {"pot": str(glass.id)} | typed)
    [name] = typed
    same = {"vessel_ml": "150", "vessel_material": "glass", "vessel_g": "210"}[name]
    stored = browser.post(new_session, form_on(browser.get(new_session)) | {"pot": str(glass.id), name: same})

    assert (refused.status_code, stored.status_code) == (422, 302)
    assert f'id="id_{name}_error">The pot has ' in refused.content.decode()
    assert Session.objects.get().vessel_ml == 150


def test_pot_that_is_chosen_later_fills_in_too_and_one_that_stays_changes_nothing(taster, glass):
    session = SessionFactory(lot=LotFactory(team=taster.team, by=taster.user), by=taster.user, vessel_ml=90)
    browser, address = browser_of(taster), page_of("session", session.id)
    browser.post(address, form_on(browser.get(address)) | {"pot": str(glass.id)})
    session.refresh_from_db()
    filled = (session.pot_id, session.vessel_ml, session.vessel_material)
    type(glass).objects.filter(id=glass.id).update(vessel_ml=160)
    answer = browser.post(address, form_on(browser.get(address)) | {"remarks": "Rain"})
    session.refresh_from_db()

    assert filled == (glass.id, 150, "glass")
    assert (answer.status_code, session.vessel_ml, session.remarks) == (302, 150, "Rain")


def test_pots_of_one_name_are_told_apart_by_volume_and_shop(taster, new_session):
    shop = Shop.objects.get(id=taster.member.shop_id)
    PotFactory(team=taster.team, by=taster.user, name="Covered bowl", vessel_ml=87.5, shop=shop)
    text = browser_of(taster).get(new_session).content.decode()

    assert ">Covered bowl, 110 ml</option>" in text
    assert f">Covered bowl, 87.5 ml, {shop.name}</option>" in text


def test_infusions_are_numbered_on_timed_in_minutes_and_lead_to_the_next(taster):
    session = SessionFactory(lot=LotFactory(team=taster.team, by=taster.user), by=taster.user)
    browser, address = browser_of(taster), f"/records/infusion/new/?session={session.id}"
    for time in ("0:20", "1:30"):
        answer = browser.post(address, form_on(browser.get(address)) | {"steep_s": time, "rest_s": "2:00"}, follow=True)
    text = answer.content.decode()
    stored = Infusion.objects.order_by("number").values_list("number", "steep_s", "rest_s")

    assert [tuple(map(float, row)) for row in stored] == [(1, 20, 120), (2, 90, 120)]
    assert answer.redirect_chain[0][0].startswith(page_of("session", session.id))
    assert re.search(rf'role="status">Infusion 2 is saved. <a href="{re.escape(address)}">', text)
    assert form_on(browser.get(address))["number"] == "3"


def test_history_of_a_note_names_its_session_and_shows_no_id(taster):
    place = Place(taster)
    text = browser_of(taster).get(page_of("note", place.note.id, "history/")).content.decode()
    shown = re.sub(r"<[^>]+>", " ", text)

    assert f"<dt>Session</dt><dd><bdi>{place.lot.name}, " in text
    assert str(place.session.id) not in shown
