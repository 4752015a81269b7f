"""Photos in the browser: added to a lot or session, the liquor's colour by two clicks, deleted; words from a text."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from tastings.actions.photo_checks import check_photo
from tastings.models import Note, Photo
from tastings.queries.photos import colour_of
from tests.api.records import Place
from tests.factories import web_browser
from tests.tastings.photos.photographs import encode_image, scene


@pytest.fixture
def place(taster, lexicon, settings, tmp_path):
    settings.PHOTOS_DIR, settings.PHOTOS_LEAVE_FREE_BYTES = tmp_path, 0
    return Place(taster)


def browser_of(who):
    browser = web_browser()
    browser.force_login(who.user)
    return browser


def add(browser, address, content):
    return browser.post(address, {"of": "liquor", "file": SimpleUploadedFile("bowl.jpg", content)})


def test_photo_is_added_and_its_colour_measured_by_two_clicks(taster, place):
    browser, address = browser_of(taster), f"/records/session/{place.session.id}/photos/"
    added = add(browser, address, encode_image(scene(), quality=90))
    photo = Photo.objects.get()
    waiting = browser.get(address).content.decode()
    check_photo(photo.id, now=timezone.now())
    shown = browser.get(address).content.decode()
    page = f"/photos/{photo.id}/"
    first = browser.post(page, {"white.x": "14", "white.y": "14"})  # a picture 280 pixels wide
    browser.post(page, {"white_x": "5.0", "white_y": "6.7", "liquor.x": "140", "liquor.y": "105"})
    photo.refresh_from_db()
    liquor = colour_of(photo).regions.liquor

    assert (added.status_code, "is being checked" in waiting) == (302, True)
    assert f'src="/photos/{photo.id}/picture.jpg"' in shown
    assert first["Location"] == f"{page}?white_x=5.0&white_y=6.7"
    assert (liquor.x + liquor.width / 2, liquor.y + liquor.height / 2) == pytest.approx((0.5, 0.5))
    assert "Liquor: " in browser.get(page).content.decode()
    assert browser.get(f"{page}picture.jpg")["Content-Type"] == "image/jpeg"


def test_colour_is_measured_by_numbers_and_what_is_wrong_is_named(taster, place):
    browser, address = browser_of(taster), f"/records/lot/{place.lot.id}/photos/"
    add(browser, address, encode_image(scene(), quality=90))
    photo = Photo.objects.get()
    check_photo(photo.id, now=timezone.now())
    numbers = {"white_x": "5", "white_y": "6,5", "liquor_x": "50", "liquor_y": "50"}
    wrong = browser.post(f"/photos/{photo.id}/", numbers | {"liquor_x": "120"})
    over = browser.post(f"/photos/{photo.id}/", numbers | {"liquor_x": "6", "liquor_y": "6"})
    browser.post(f"/photos/{photo.id}/", numbers)
    photo.refresh_from_db()

    assert 'id="id_liquor_x_error"' in wrong.content.decode()
    assert 'id="id_white_x_error"' in over.content.decode()
    assert colour_of(photo).lab is not None


def test_photo_is_deleted_by_who_may(taster, buyer, viewer, place):
    address = f"/records/lot/{place.lot.id}/photos/"
    add(browser_of(taster), address, encode_image(scene(), quality=90))
    photo = Photo.objects.get()
    refused = browser_of(viewer).post(f"/photos/{photo.id}/", {"do": "delete"})
    deleted = browser_of(buyer).post(f"/photos/{photo.id}/", {"do": "delete"})

    assert (refused.status_code, deleted["Location"]) == (403, address)
    assert browser_of(taster).get(f"/photos/{photo.id}/").status_code == 404


def test_form_without_a_file_says_so(taster, place):
    answer = browser_of(taster).post(f"/records/lot/{place.lot.id}/photos/", {"of": "liquor"})
    assert (answer.status_code, 'id="id_file_error"' in answer.content.decode()) == (422, True)


def test_words_of_a_text_are_suggested_and_noted(taster, buyer, place):
    place.note.text = "lots of honey, a touch of smoke"
    place.note.save()
    page = f"/records/note/{place.note.id}/"
    browser = browser_of(taster)
    shown = browser.get(page).content.decode()
    sent = {"do": "accept", "word": ["honey"], "revision": str(place.note.revision)}
    noted = browser.post(page, sent)

    assert all(f'name="word" value="{key}" checked' in shown for key in ("honey", "wood_smoke"))
    assert noted["Location"] == f"/records/session/{place.session.id}/"
    assert Note.objects.get(descriptor__key="honey").infusion == place.note.infusion
    assert 'value="honey" checked' not in browser.get(page).content.decode()
    assert 'name="word"' not in browser_of(buyer).get(page).content.decode()
    assert browser.post(page, sent | {"revision": "0"}).status_code == 412
