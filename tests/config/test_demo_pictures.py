"""The demo's pictures go the way of every photo, once, and the colours of their liquors can be measured."""

import io

import numpy as np
import pytest
from django.utils import timezone
from PIL import Image

from config.demo import pictures
from config.demo.company import PEOPLE
from config.demo.drawing import LIQUOR, SHADES, WHITE, liquor_picture
from config.demo.load import _send
from config.demo.pictures import SHOWN, send_pictures
from config.demo.story import messages
from table.phone import MemoryStore, Phone
from tastings.actions.photo_checks import check_photo
from tastings.models import Photo
from tests.factories import TeamFactory, person
from tests.sync.wire import Wire


@pytest.fixture
def phones(lexicon, settings, tmp_path, monkeypatch):
    """The company's phones by user name, after the sessions of which there are pictures."""
    settings.PHOTOS_DIR, settings.PHOTOS_LEAVE_FREE_BYTES = tmp_path, 0
    monkeypatch.setattr(pictures, "_CHECKED_S", 0.0)
    team, made = TeamFactory(), {}
    for one in PEOPLE:
        store = MemoryStore()
        store.append({"event": "signed", "token": person(team, one.role).token})
        made[one.username] = Phone(Wire(lambda *answer: None), store=store)
    shown = {handle for handle, _, _ in SHOWN}
    for message in messages(team.id, shops={}):
        if message.lot is None or message.lot.handle in shown:
            assert set(_send(message, made[message.person.username]).verdicts) == {"applied"}
    return team, made


def test_pictures_are_sent_once_and_told_once_they_are_checked(phones):
    team, of = phones
    sent = send_pictures(team.id, phones=of)
    assert sent == sum(len(cups) for _, _, cups in SHOWN)
    assert {check_photo(photo, now=timezone.now()) for photo in Photo.objects.values_list("id", flat=True)} == {"kept"}
    assert send_pictures(team.id, phones=of) == 0

    stored = Photo.objects.order_by("infusion__number").values_list("session__lot__name", "infusion__number", "colour")
    assert {colour["reason"] for _, _, colour in stored} == {None}
    lightness = {cup: colour["lab"]["l"] for lot, cup, colour in stored if lot == "Cliff oolong no. 3, full fire"}
    assert min(lightness, key=lightness.__getitem__) == 4  # the lot builds up


@pytest.mark.parametrize("style", SHADES)
def test_stronger_liquor_is_darker_and_the_card_stays_white(style):
    weak, strong = (
        np.asarray(Image.open(io.BytesIO(liquor_picture(style=style, strength=s))), dtype=float) for s in (0.3, 1.0)
    )
    assert (region_of(weak, LIQUOR).mean(axis=(0, 1)) > region_of(strong, LIQUOR).mean(axis=(0, 1))).all()
    for picture in (weak, strong):
        assert region_of(picture, WHITE).min() > 220
        assert np.ptp(region_of(picture, WHITE), axis=(0, 1)).max() < 12


def region_of(picture, region):
    height, width, _ = picture.shape
    x, y = int(region["x"] * width), int(region["y"] * height)
    return picture[y : y + int(region["height"] * height), x : x + int(region["width"] * width)]
