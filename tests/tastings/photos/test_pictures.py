"""What is let in, and what is left of it: pixels, and nothing else."""

import io
from uuid import UUID

import numpy as np
import pytest
from django.utils import timezone
from PIL import Image

from tastings.actions import photo_checks
from tastings.actions.photo_checks import MAX_ATTEMPTS, check_photo
from tastings.models import PhotoContent
from tests.api.problems import refusal
from tests.tastings.photos.photographs import (
    announce,
    encode_image,
    heic,
    on_disk,
    p3_in_srgb,
    p3_profile,
    phone_photo,
    png_header,
    scene,
    segments,
    send,
    served,
    upload_and_check,
)

pytestmark = pytest.mark.django_db


def test_nothing_but_pixels_is_stored(taster, session, folder):
    hidden = b"PK\x03\x04 a page or an archive behind the end <script>"
    file = phone_photo(width=800, height=600) + hidden
    assert b"Maker of the phone" in file
    assert Image.open(io.BytesIO(file)).getexif().get_ifd(0x8825)
    address, _ = upload_and_check(taster, file, session=str(session.id))
    for which, size in (("image", (600, 800)), ("thumbnail", (240, 320))):
        answer, data = served(taster, address, which)
        found, behind = segments(data)
        # JFIF header, tables, frame: no APP1 (EXIF, XMP), no APP2 (profile), no APP13, no comment
        assert set(found) <= {0xE0, 0xDB, 0xC0, 0xC4}
        assert behind == b""
        assert Image.open(io.BytesIO(data)).size == size
        assert answer["Content-Type"] == "image/jpeg"
    everything = b"".join((folder / name).read_bytes() for name in on_disk(folder))
    assert [word for word in (b"Maker", b"garden", b"script", b"GPS", b"Exif") if word in everything] == []


def test_heic_becomes_a_jpeg_of_its_pixels(taster, session, folder):
    assert b"Maker of the phone" in heic()
    address, shown = upload_and_check(taster, heic(), session=str(session.id))
    picture = Image.open(io.BytesIO(served(taster, address)[1]))

    assert (shown["state"], shown["width"], shown["height"]) == ("kept", 240, 180)
    assert (picture.format, picture.size, dict(picture.getexif())) == ("JPEG", (240, 180), {})
    assert np.abs(np.asarray(picture)[90, 120].astype(int) - (199, 120, 40)).max() < 12
    assert b"Maker" not in b"".join((folder / name).read_bytes() for name in on_disk(folder))


def test_pictures_are_turned_upright(taster, session):
    halves = Image.fromarray(
        np.repeat(np.array([[[250, 0, 0]], [[0, 0, 250]]], np.uint8), 40, axis=0).repeat(120, axis=1)
    )
    exif = Image.Exif()
    exif[0x0112] = 3  # upside down
    address, _ = upload_and_check(taster, encode_image(halves, exif=exif, quality=95), session=str(session.id))
    picture = np.asarray(Image.open(io.BytesIO(served(taster, address)[1])))
    assert picture[5, 60, 2] > 200  # what was below is above: blue
    assert picture[5, 60, 0] < 50


def test_wide_colours_are_carried_to_srgb(taster, session):
    profile = p3_profile()
    plain = Image.new("RGB", (64, 64), (200, 130, 90))
    address, _ = upload_and_check(taster, encode_image(plain, "PNG", icc_profile=profile), session=str(session.id))
    middle = np.asarray(Image.open(io.BytesIO(served(taster, address)[1])))[32, 32].astype(int)
    assert middle == pytest.approx(p3_in_srgb((200, 130, 90)), abs=3)
    assert abs(middle[0] - 200) > 5


@pytest.mark.parametrize(
    ("kind", "mode"),
    [
        *(("PNG", mode) for mode in ("RGB", "L", "RGBA", "P", "I;16", "1", "LA")),
        *(("JPEG", mode) for mode in ("RGB", "L", "CMYK")),
        *(("WEBP", mode) for mode in ("RGB", "RGBA")),
    ],
)
def test_every_readable_kind_becomes_a_jpeg(taster, session, kind, mode):
    grey = scene().convert("L")
    picture = Image.fromarray(np.asarray(grey, dtype=np.uint16) * 257) if mode == "I;16" else scene().convert(mode)
    address, shown = upload_and_check(taster, encode_image(picture, kind), session=str(session.id))
    assert (shown["state"], shown["width"]) == ("kept", 240)
    found = np.asarray(Image.open(io.BytesIO(served(taster, address)[1])).convert("L")).astype(int)
    assert found[:30].mean() == pytest.approx(240, abs=18)
    assert found[60:120, 70:170].mean() == pytest.approx(135, abs=15)  # what amber is in grey


@pytest.mark.parametrize(
    ("file", "reason"),
    [
        (b"<html><script>alert(1)</script></html>", "not_an_image"),
        (b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic" + bytes(400), "not_an_image"),
        (b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 10 10\n", "not_an_image"),
        (encode_image(scene(), "GIF"), "not_an_image"),
        (encode_image(scene(), "TIFF"), "not_an_image"),
        (b"\xff\xd8\xff\xe0" + bytes(50), "not_an_image"),
        (encode_image(scene())[:-200], "broken_image"),
        (png_header(60_000, 60_000), "too_many_pixels"),
        (png_header(7_100, 7_100), "too_many_pixels"),
        (encode_image(Image.new("1", (65_501, 1)), "PNG"), "too_many_pixels"),
        (png_header(7_000, 7_000), "broken_image"),
        (heic(declared=(7_100, 7_100)), "too_many_pixels"),
        (heic(declared=(60_000, 60_000)), "too_many_pixels"),
        (heic(declared=(16, 16)), "broken_image"),
        (heic()[:-200], "not_an_image"),
    ],
    ids=[
        "page",
        "heic",
        "postscript",
        "gif",
        "tiff",
        "jpeg_start",
        "cut_off",
        "bomb",
        "too_large",
        "too_long_a_side",
        "hollow",
        "heic_large",
        "heic_bomb",
        "heic_smaller_than_it_is",
        "heic_cut_off",
    ],
)
def test_what_is_no_photo_is_refused_and_its_bytes_are_deleted(taster, session, folder, file, reason):
    address, shown = upload_and_check(taster, file, session=str(session.id))
    assert (shown["state"], shown["reason"], shown["width"]) == ("refused", reason, None)
    assert on_disk(folder) == []
    assert taster.client.get(f"{address}image").status_code == 404
    assert refusal(send(taster, address, file, 0))[:2] == (409, "not-yet")


@pytest.mark.parametrize("size", [(60_000, 1), (1, 60_000)])
def test_very_thin_picture_has_a_thumbnail_a_pixel_wide(taster, session, size):
    address, shown = upload_and_check(taster, encode_image(Image.new("1", size), "PNG"), session=str(session.id))
    thumbnail = Image.open(io.BytesIO(served(taster, address, "thumbnail")[1]))

    assert (shown["state"], shown["width"], shown["height"]) == ("kept", *size)
    assert (min(thumbnail.size), max(thumbnail.size)) == (1, 320)


def test_other_bytes_than_announced_are_refused(taster, session, folder):
    file = encode_image(scene())
    address, answer = announce(taster, file, session=str(session.id))
    send(taster, address, file[:-1] + b"\x00", 0)
    check_photo(UUID(answer.json()["id"]), now=timezone.now())
    assert taster.client.get(address).json()["reason"] == "wrong_hash"
    assert (on_disk(folder), PhotoContent.objects.count()) == ([], 0)


def test_file_that_ends_the_worker_each_time_is_refused(taster, session, folder, monkeypatch):
    file = encode_image(scene())
    address, answer = announce(taster, file, session=str(session.id))
    send(taster, address, file, 0)
    monkeypatch.setattr(photo_checks, "decode_image", lambda file: (_ for _ in ()).throw(MemoryError()))
    for _ in range(MAX_ATTEMPTS):
        with pytest.raises(MemoryError):
            check_photo(UUID(answer.json()["id"]), now=timezone.now())
    assert check_photo(UUID(answer.json()["id"]), now=timezone.now()) == "refused"
    assert (taster.client.get(address).json()["reason"], on_disk(folder)) == ("broken_image", [])
