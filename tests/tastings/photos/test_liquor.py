"""The colour of the liquor, over the API."""

import pytest

from tastings.models import Photo
from tests.api.problems import refusal
from tests.tastings.photos.photographs import (
    LIQUOR,
    WHITE,
    announce,
    encode_image,
    scene,
    upload_and_check,
)

pytestmark = pytest.mark.django_db


def test_colour_of_the_liquor_is_measured_and_stored(taster, session):
    address, _ = upload_and_check(taster, encode_image(scene(800, 600), quality=95), session=str(session.id))
    answer = taster.client.post(f"{address}colour", {"white": WHITE, "liquor": LIQUOR})
    assert answer.status_code == 200, answer.content
    colour = answer.json()["colour"]
    assert (colour["verdict"], colour["reason"], colour["terms"][0]["key"]) == ("measured", None, "amber")
    # amber (199, 120, 40) is 57.78, 24.88, 53.92 in full light (colour-science 0.4.7); a white of 240 has 0.8714 of the
    # light, so L* + 16, a* and b* grow by its inverse cube root, 1.0469
    assert [colour["lab"][name] for name in "lab"] == pytest.approx([61.24, 26.05, 56.45], abs=0.8)
    assert colour["regions"] == {"white": WHITE, "liquor": LIQUOR}
    assert taster.client.get(address).json()["colour"] == colour
    again = taster.client.post(f"{address}colour", {"white": WHITE, "liquor": LIQUOR}).json()["colour"]
    assert {**again, "at": ""} == {**colour, "at": ""}
    swapped = taster.client.post(f"{address}colour", {"white": LIQUOR, "liquor": WHITE}).json()["colour"]
    assert (swapped["verdict"], swapped["reason"], swapped["lab"]) == ("cannot_tell", "white_coloured", None)
    tiny = {**WHITE, "width": 0.001}
    small = taster.client.post(f"{address}colour", {"white": tiny, "liquor": LIQUOR}).json()["colour"]
    assert (small["reason"], small["white"]) == ("white_small", None)


def test_stored_colour_with_the_words_of_an_earlier_version_is_shown(taster, session):
    address, photo = upload_and_check(taster, encode_image(scene(800, 600), quality=95), session=str(session.id))
    answer = taster.client.post(f"{address}colour", {"white": WHITE, "liquor": LIQUOR}).json()["colour"]
    rows = Photo.objects.filter(id=photo["id"])
    rows.update(colour=answer)
    assert taster.client.get(address).json()["colour"] == answer
    rows.update(colour={"lab": None})
    assert taster.client.get(address).json()["colour"] is None


@pytest.mark.parametrize(
    ("body", "problems"),
    [
        ({}, {("white", "required"), ("liquor", "required")}),
        ({"white": WHITE, "liquor": 5}, {("liquor", "type")}),
        ({"white": WHITE, "liquor": {**LIQUOR, "x": -0.1}}, {("liquor.x", "range")}),
        ({"white": WHITE, "liquor": {**LIQUOR, "width": 0}}, {("liquor.width", "range")}),
        ({"white": WHITE, "liquor": {**LIQUOR, "height": 0.8}}, {("liquor.height", "range")}),
        ({"white": WHITE, "liquor": {"x": 0.5}}, {(f"liquor.{n}", "required") for n in ("y", "width", "height")}),
        ({"white": {**WHITE, "z": 1}, "liquor": LIQUOR}, {("white.z", "unknown_field")}),
        ({"white": WHITE, "liquor": LIQUOR, "cup": LIQUOR}, {("cup", "unknown_field")}),
        ({"white": {**WHITE, "height": 0.5}, "liquor": LIQUOR}, {("white", "overlap")}),
    ],
)
def test_invalid_regions_are_named(taster, session, body, problems):
    address, _ = upload_and_check(taster, encode_image(scene()), session=str(session.id))
    assert refusal(taster.client.post(f"{address}colour", body)) == (422, "invalid", problems)
    assert taster.client.get(address).json()["colour"] is None


def test_colour_of_an_unfinished_photo_is_refused(taster, session):
    address, _ = announce(taster, b"x", session=str(session.id))
    answer = taster.client.post(f"{address}colour", {"white": WHITE, "liquor": LIQUOR})
    assert refusal(answer)[:2] == (409, "not-yet")
