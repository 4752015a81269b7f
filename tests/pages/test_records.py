"""Making, correcting, deleting and bringing back records in the browser, by whoever may."""

import re
from html import unescape

import pytest

from lots.models import Lot
from pages.record_fields import sections_for
from tastings.models import Descriptor, Infusion, Note, Session
from tastings.queries.records import record_for
from tastings.schemas import RECORD_SCHEMAS
from tastings.wording.fields import field_label
from teams.models import AuditEntry, Member, Role, Shop
from tests.api.records import FULL, TYPES, Place
from tests.factories import LotFactory, MemberFactory, PotFactory, SessionFactory, web_browser

pytestmark = pytest.mark.usefixtures("lexicon")


def browser_of(who):
    browser = web_browser()
    browser.force_login(who.user)
    return browser


def page_of(record_type, record, after=""):
    return f"/records/{record_type}/{record}/{after}"


def form_on(page):
    """Return what a browser would send of the page's form if nothing were changed."""
    html = re.search(r'<form class="record" method="post">(.*?)</form>', page.content.decode(), re.DOTALL).group(1)
    sent = {}
    for tag in re.findall(r"<input[^>]*>", html):
        name, value = (re.search(rf' {what}="([^"]*)"', tag) for what in ("name", "value"))
        if 'type="checkbox"' not in tag or " checked" in tag:
            sent[name.group(1)] = unescape(value.group(1)) if value else "on" if "checkbox" in tag else ""
    for name, text in re.findall(r'<textarea name="(\w+)"[^>]*>\n?(.*?)</textarea>', html, re.DOTALL):
        sent[name] = unescape(text)
    for name, options in re.findall(r'<select name="(\w+)".*?>(.*?)</select>', html, re.DOTALL):
        chosen = re.search(r'value="([^"]*)" selected', options)
        sent[name] = chosen.group(1) if chosen else ""
    return sent


@pytest.mark.parametrize("type_name", RECORD_SCHEMAS)
def test_every_field_has_a_label_and_a_place_in_the_form(type_name):
    """But for the parent, which the address names, a blind session's cup, and a word's key, which is made from it."""
    names = {field.name for field in RECORD_SCHEMAS[type_name].fields}
    placed = {name for _, section in sections_for(Member(role=Role.OWNER), type_name) for name in section}
    assert names - placed - {"session", "flight_cup", "key"} == set()
    assert [name for name in names if field_label(type_name, name) == name] == []


@pytest.mark.parametrize("type_name", TYPES)
def test_form_sent_back_unchanged_changes_nothing(taster, buyer, type_name):
    place = Place(taster)
    record = getattr(place, type_name)
    words = {**place.words, None: None}
    full = {
        name: words.get(value, value) if isinstance(value, str) else value for name, value in FULL[type_name].items()
    }
    fixed = {"session", "flight_cup", "key"}
    sent = {
        name: value for name, value in full.items() if name not in fixed and (type_name, name) != ("lot", "from_lot")
    }
    assert buyer.client.patch(f"/api/v1/{type_name}s/{record.id}/", sent).status_code == 200
    before = record_for(buyer.member, type_name, record.id)
    browser = browser_of(buyer)
    shown = browser.get(page_of(type_name, record.id))
    answer = browser.post(page_of(type_name, record.id), form_on(shown))

    assert (shown.status_code, answer.status_code) == (200, 302)
    assert record_for(buyer.member, type_name, record.id) == before


def test_lot_is_made_priced_and_retired_with_a_decimal_comma(buyer):
    browser = browser_of(buyer)
    made = browser.post("/records/lot/new/", {"name": "Mist Ridge", "kind": "oolong", "status": "sample"})
    lot = Lot.objects.get()
    address = page_of("lot", lot.id)
    sent = form_on(browser.get(address)) | {"price_per_kg": "1.234,50", "currency": "eur", "status": "retired"}
    answer = browser.post(address, sent, follow=True)
    lot.refresh_from_db()

    assert (made.status_code, made["Location"]) == (302, f"{address}?made=1")
    assert (float(lot.price_per_kg), lot.currency, lot.status) == (1234.5, "EUR", "retired")
    assert "Saved:" in answer.content.decode()


def test_undo_takes_the_whole_edit_back(buyer):
    lot = LotFactory(team=buyer.team, by=buyer.user, name="Mist Ridge", price_per_kg=90)
    browser, address = browser_of(buyer), page_of("lot", lot.id)
    sent = form_on(browser.get(address)) | {"name": "Misty Ridge", "price_per_kg": "9", "region": "Cloud County"}
    saved = browser.post(address, sent, follow=True).content.decode()
    fields = re.findall(r'name="field" value="(\w+)"', saved)
    browser.post(f"{address}history/", {"field": fields})
    lot.refresh_from_db()

    assert set(fields) == {"name", "price_per_kg", "region"}
    assert (lot.name, lot.price_per_kg, lot.region) == ("Mist Ridge", 90, "")


def test_lot_is_bought_from_its_sample(buyer):
    sample = LotFactory(team=buyer.team, by=buyer.user, name="Mist Ridge", status="sample", region="Cloud County",
                        price_per_kg=120, currency="EUR", quantity_g=50)  # fmt: skip
    browser, address = browser_of(buyer), f"/records/lot/new/?from_lot={sample.id}"
    sent = form_on(browser.get(address)) | {"quantity_g": "5000", "price_per_kg": "110", "arrived_on": "2026-03-04"}
    browser.post(address, sent)
    bought = Lot.objects.get(from_lot=sample)

    assert (bought.status, bought.region, bought.name) == ("bought", "Cloud County", "Mist Ridge")
    assert (bought.quantity_g, bought.price_per_kg, bought.currency) == (5000, 110, "EUR")
    assert f"{bought.arrived_on}" == "2026-03-04"
    sample.refresh_from_db()
    assert sample.status == "sample"


@pytest.mark.parametrize(
    ("wrong", "field"),
    [({"name": ""}, "name"), ({"quantity_g": "much"}, "quantity_g"), ({"roasted_on": "2026-02-31"}, "roasted_on"),
     ({"price_per_kg": "1,234"}, "price_per_kg"), ({"elevation_low_m": "900", "elevation_high_m": "800"},
     "elevation_low_m"), ({"kind": "coffee"}, "kind"), ({"currency": "EURO"}, "currency")],
)  # fmt: skip
def test_what_is_wrong_is_shown_beside_its_field_and_nothing_is_stored(buyer, wrong, field):
    answer = browser_of(buyer).post("/records/lot/new/", {"name": "Mist Ridge", "kind": "oolong"} | wrong)

    assert answer.status_code == 422
    assert f'id="id_{field}_error"' in answer.content.decode()
    assert not Lot.objects.exists()


def test_edit_of_what_somebody_changed_meanwhile_is_shown_before_it_is_stored(buyer, owner):
    lot = LotFactory(team=buyer.team, by=buyer.user, name="Mist Ridge")
    browser, address = browser_of(buyer), page_of("lot", lot.id)
    sent = form_on(browser.get(address)) | {"name": "Ridge of mist"}
    owner.client.patch(f"/api/v1/lots/{lot.id}/", {"name": "Cloud Ridge"})
    refused = browser.post(address, sent)
    lot.refresh_from_db()

    assert (refused.status_code, lot.name) == (422, "Cloud Ridge")
    assert "Now: Cloud Ridge" in refused.content.decode()
    assert browser.post(address, form_on(refused)).status_code == 302
    lot.refresh_from_db()
    assert lot.name == "Ridge of mist"


def test_deleted_session_is_brought_back_with_its_notes(taster):
    place = Place(taster)
    browser, address = browser_of(taster), page_of("session", place.session.id)
    deleted = browser.post(address, {"do": "delete"}, follow=True)
    gone = browser.get(address).status_code
    browser.post(f"{address}history/", {"field": "deleted"})

    assert "Bring it back" in deleted.content.decode()
    assert (gone, browser.get(address).status_code) == (404, 200)
    assert f'href="{page_of("note", place.note.id)}"' in browser.get(address).content.decode()


def test_deleted_note_and_infusion_are_found_on_the_session_and_in_its_history(taster):
    place = Place(taster)
    browser, address = browser_of(taster), page_of("session", place.session.id)
    assert "Deleted here" not in browser.get(address).content.decode()
    browser.post(page_of("note", place.note.id), {"do": "delete"})
    for shown in (address, f"{address}history/"):
        text = browser.get(shown).content.decode()
        assert "Deleted here: 1</summary>" in text
        assert f'href="{page_of("note", place.note.id, "history/")}"' in text
    browser.post(page_of("infusion", place.infusion.id), {"do": "delete"})
    assert "Deleted here: 2</summary>" in browser.get(address).content.decode()
    browser.post(page_of("note", place.note.id, "history/"), {"field": "deleted"})
    text = browser.get(address).content.decode()

    assert "Deleted here: 1</summary>" in text
    assert f'href="{page_of("infusion", place.infusion.id, "history/")}">Infusion: <bdi>Infusion 1</bdi>' in text


def test_session_is_written_down_with_infusion_and_note(taster):
    lot = LotFactory(team=taster.team, by=taster.user)
    browser = browser_of(taster)
    brewed = {"started_at": "2026-03-04T10:00", "leaf_g": "5,2", "vessel_ml": "110"}
    browser.post(f"/records/session/new/?lot={lot.id}", brewed)
    session = Session.objects.get()
    browser.post(f"/records/infusion/new/?session={session.id}", {"number": "1", "steep_s": "15", "kettle_c": "98"})
    infusion = Infusion.objects.get()
    note = {"infusion": str(infusion.id), "moment": "mouth", "descriptor": "honey", "intensity": "6,5"}
    browser.post(f"/records/note/new/?session={session.id}", note)
    shown = browser.get(page_of("session", session.id)).content.decode()

    assert (session.taster, float(session.leaf_g), f"{session.started_at:%H:%M}") == (taster.user, 5.2, "10:00")
    assert (Note.objects.get().infusion_id, float(Note.objects.get().intensity)) == (infusion.id, 6.5)
    assert "Honey</bdi> <strong>6.5</strong>" in shown


def test_new_session_begins_with_the_usual_pot_of_the_shop(taster):
    pot = PotFactory(team=taster.team, by=taster.user, vessel_ml=90, leaf_g=4.5)
    Shop.objects.filter(id=taster.member.shop_id).update(usual_pot=pot.id)
    lot = LotFactory(team=taster.team, by=taster.user)
    browser, address = browser_of(taster), f"/records/session/new/?lot={lot.id}"
    browser.post(address, form_on(browser.get(address)) | {"leaf_g": "5"})
    session = Session.objects.get()

    assert (session.pot_id, session.vessel_ml, session.vessel_material, session.leaf_g) == (pot.id, 90, "porcelain", 5)
    assert session.shop_id == taster.member.shop_id


def test_earlier_value_is_brought_back(taster, owner):
    place = Place(taster)
    for seconds in (20, 25):
        owner.client.patch(f"/api/v1/infusions/{place.infusion.id}/", {"steep_s": seconds})
    browser, address = browser_of(taster), page_of("infusion", place.infusion.id, "history/")
    earlier = re.findall(r'name="at" value="([^"]+)"', browser.get(address).content.decode())
    browser.post(address, {"field": "steep_s", "at": earlier[-1]})
    place.infusion.refresh_from_db()

    assert len(earlier) == 2
    assert place.infusion.steep_s == 15


def test_correction_of_anothers_tasting_is_in_the_audit_log(taster, buyer):
    place = Place(taster)
    browser, address = browser_of(buyer), page_of("infusion", place.infusion.id)
    browser.post(address, form_on(browser.get(address)) | {"steep_s": "33"})

    assert AuditEntry.objects.get(what="correction").about["fields"] == ["steep_s"]


def test_taster_changes_no_tasting_of_anothers_and_no_purchase(taster, buyer):
    session = SessionFactory(lot=LotFactory(team=buyer.team, by=buyer.user), by=buyer.user)
    sample = LotFactory(team=taster.team, by=taster.user, status="sample")
    browser, address = browser_of(taster), page_of("session", session.id)

    assert 'class="record"' not in browser.get(address).content.decode()
    assert browser.post(address, {"do": "delete"}).status_code == 403
    assert 'name="price_per_kg"' not in browser.get(page_of("lot", sample.id)).content.decode()
    assert 'name="region"' in browser.get(page_of("lot", sample.id)).content.decode()


def test_owner_who_is_a_taster_elsewhere_changes_what_others_made(owner, taster, stranger):
    MemberFactory(team=stranger.team, user=owner.user, role="taster")
    lot = LotFactory(team=owner.team, by=taster.user, author=taster.user, name="Mist Ridge")
    browser, address = browser_of(owner), page_of("lot", lot.id)
    answer = browser.post(address, form_on(browser.get(address)) | {"name": "Misty Ridge"})
    sent = {"field": "name", "at": ""}
    undone = browser.post(f"{address}history/", sent)
    lot.refresh_from_db()

    assert (answer.status_code, undone.status_code, lot.name) == (302, 302, "Mist Ridge")
    assert lot.revision > 1


def test_word_in_any_writing_gets_a_key(taster):
    browser = browser_of(taster)
    for word in ("Rain on slate", "雨后石板"):
        assert (
            browser.post("/records/descriptor/new/", {"label": word, "synonyms": "wet stone, quarry"}).status_code
            == 302
        )
    own = {word.label: word for word in Descriptor.objects.filter(team=taster.team)}

    assert own["Rain on slate"].key == "rain_on_slate"
    assert own["雨后石板"].key.startswith("word_")
    assert own["Rain on slate"].synonyms == ["wet stone", "quarry"]
    assert "Rain on slate" in browser.get("/team/words/?q=QUARRY").content.decode()


def test_built_in_word_is_shown_in_the_language_of_the_page_and_offers_no_form(owner):
    word = Descriptor.objects.get(key="orchid", team=None)
    browser, address = browser_of(owner), page_of("descriptor", word.id)
    english, german = (
        browser.get(address, headers={"Accept-Language": code}).content.decode() for code in ("en", "de")
    )

    assert ("<h1><bdi>Orchid</bdi></h1>" in english, "<h1><bdi>Orchidee</bdi></h1>" in german) == (True, True)
    assert ("<dd><bdi>flowers</bdi></dd>" in english, "<dd><bdi>Blüten</bdi></dd>" in german) == (True, True)
    assert "This word is built in" in english
    assert ('class="record"' in english, "Only who made it" in english) == (False, False)


def test_pages_say_what_was_made_and_deleted(taster):
    browser = browser_of(taster)
    pot = {"name": "Blue pot", "vessel_ml": "110", "vessel_material": "porcelain"}
    new = browser.get("/records/pot/new/").content.decode()
    made = browser.post("/records/pot/new/", pot, follow=True)
    gone = browser.post(made.redirect_chain[-1][0].partition("?")[0], {"do": "delete"}, follow=True).content.decode()

    assert "<h1>New pot</h1>" in new
    assert '<p class="note" role="status">The pot is saved.</p>' in made.content.decode()
    assert "<p>The pot is deleted.</p>" in gone


def test_page_of_a_session_says_when_it_began_and_who_tasted(taster, viewer):
    place = Place(taster)
    page = browser_of(viewer).get(page_of("session", place.session.id)).content.decode()

    assert re.search(rf'<p class="soft">\d+ \w+ \d{{4}}, \d\d:\d\d · {taster.user}</p>', page)
    assert "<dt>Dry leaf in grams</dt>" in page
