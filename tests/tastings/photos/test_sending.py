"""Photos sent in pieces: repeated, out of order, cut off, on a full disk."""

import errno
import os
from uuid import UUID

import pytest
from django.utils import timezone

from api.photos.content import MAX_PIECE_BYTES
from tastings.actions.photo_checks import check_photo
from tastings.models import Photo, photo_folder
from tastings.models.photo_files import upload_size
from tests.api.problems import refusal
from tests.factories import ABSENT_ID, InfusionFactory, SessionFactory
from tests.tastings.photos.photographs import (
    announce,
    announced,
    encode_image,
    on_disk,
    phone_photo,
    scene,
    send,
)

pytestmark = pytest.mark.django_db


def test_pieces_come_one_after_the_other_and_a_worker_makes_a_picture(taster, session, folder):
    file = phone_photo()
    address, answer = announce(taster, file, session=str(session.id), taken_at="2026-03-04T10:00:00Z")
    shown = answer.json()
    assert (answer.status_code, shown["state"], shown["received"], shown["bytes"]) == (201, "receiving", 0, len(file))
    half = len(file) // 2
    first = send(taster, address, file[:half], 0)
    assert (first.status_code, first["Upload-Offset"], first.json()["received"]) == (200, str(half), half)
    assert taster.client.get(address).json()["received"] == half
    last = send(taster, address, file[half:], half).json()
    assert (last["state"], last["received"]) == ("checking", len(file))
    assert taster.client.get(f"{address}image").status_code == 404

    assert check_photo(UUID(shown["id"]), now=timezone.now()) == "kept"
    shown = taster.client.get(address).json()
    assert (shown["state"], shown["width"], shown["height"], shown["reason"]) == ("kept", 180, 240, None)
    assert shown["taken_at"] == "2026-03-04T10:00:00Z"
    names = [name.split("/")[-1].partition(".")[2] for name in on_disk(folder)]
    assert names == ["jpg", "thumbnail.jpg"]  # and nothing of the upload
    assert check_photo(UUID(shown["id"]), now=timezone.now()) == ""


def test_piece_at_another_offset_gets_the_offset_to_continue_at(taster, session):
    file = encode_image(scene())
    address, _ = announce(taster, file, session=str(session.id))
    send(taster, address, file[:1000], 0)
    for offset in (500, 1200):
        answer = send(taster, address, file[offset : offset + 900], offset)
        assert refusal(answer) == (409, "wrong-offset", {("Upload-Offset", "offset")})
        assert answer["Upload-Offset"] == "1000"
    assert taster.client.get(address).json()["received"] == 1000


def test_a_repeated_piece_changes_nothing_before_and_after_the_check(taster, session):
    file = encode_image(scene())
    address, answer = announce(taster, file, session=str(session.id))
    for _ in range(2):
        assert send(taster, address, file[:1000], 0).json()["received"] == 1000
    for _ in range(2):
        assert send(taster, address, file[1000:], 1000).json()["state"] == "checking"
    check_photo(UUID(answer.json()["id"]), now=timezone.now())
    again = send(taster, address, file[1000:], 1000)
    assert (again.status_code, again.json()["state"]) == (200, "kept")


def test_the_same_announcement_again_changes_nothing_and_another_is_refused(taster, session, lot, owner):
    file = encode_image(scene())
    body = announced(file, session=str(session.id))
    first, again = (taster.client.post("/api/v1/photos/", body) for _ in range(2))
    assert (first.status_code, again.status_code, again.json()) == (201, 200, first.json())
    for who, other in (
        (taster, {**body, "of": "other"}),
        (taster, {**body, "session": None, "lot": str(lot.id)}),
        (owner, body),
    ):
        assert refusal(who.client.post("/api/v1/photos/", other)) == (422, "invalid", {("id", "taken")})


def test_bytes_after_a_crash_before_its_commit_are_written_over(taster, session, folder):
    file = encode_image(scene())
    address, answer = announce(taster, file, session=str(session.id))
    send(taster, address, file[:1000], 0)
    with (folder / "uploads" / answer.json()["id"]).open("ab") as torn:
        torn.write(b"never acknowledged")
    send(taster, address, file[1000:], 1000)
    assert check_photo(UUID(answer.json()["id"]), now=timezone.now()) == "kept"


def test_bytes_that_a_restored_disk_lacks_are_sent_again(taster, session, folder):
    file = encode_image(scene())
    address, answer = announce(taster, file, session=str(session.id))
    send(taster, address, file[:1000], 0)
    os.truncate(folder / "uploads" / answer.json()["id"], 300)
    assert send(taster, address, file[1000:1500], 1000)["Upload-Offset"] == "300"
    send(taster, address, file[300:], 300)
    (folder / "uploads" / answer.json()["id"]).unlink()
    assert check_photo(UUID(answer.json()["id"]), now=timezone.now()) == "receiving"
    assert taster.client.get(address).json()["received"] == 0


@pytest.mark.parametrize(
    ("field", "value", "code"),
    [
        ("of", "cake", "choice"),
        ("of", None, "required"),
        ("sha256", "A" * 64, "pattern"),
        ("sha256", "a" * 63, "pattern"),
        ("sha256", "a" * 65, "too_long"),
        ("bytes", 0, "range"),
        ("bytes", 20 * 1024 * 1024 + 1, "range"),
        ("bytes", "many", "type"),
        ("taken_at", "noon", "moment"),
        ("session", str(ABSENT_ID), "unknown_parent"),
        ("infusion", str(ABSENT_ID), "unknown_parent"),
        ("session", None, "one_of"),
        ("state", "kept", "read_only"),
        ("place", "here", "unknown_field"),
        ("id", "x", "id"),
    ],
)
def test_invalid_field_is_named_and_nothing_is_stored(taster, session, field, value, code):
    body = {**announced(b"x", session=str(session.id)), field: value}
    assert refusal(taster.client.post("/api/v1/photos/", body)) == (422, "invalid", {(field, code)})
    assert Photo.objects.count() == 0


def test_a_photo_is_of_a_session_or_a_lot_and_of_an_infusion_of_that_session(taster, session, lot):
    other = InfusionFactory(session=SessionFactory(lot=lot))
    both = announced(b"x", session=str(session.id), lot=str(lot.id))
    elsewhere = announced(b"x", session=str(session.id), infusion=str(other.id))
    found = [refusal(taster.client.post("/api/v1/photos/", body))[2] for body in (both, elsewhere)]
    assert found == [{("session", "one_of")}, {("infusion", "other_session")}]
    own = InfusionFactory(session=session)
    address, _ = announce(taster, b"x", session=str(session.id), infusion=str(own.id))
    assert taster.client.get(address).json()["infusion"] == str(own.id)


@pytest.mark.parametrize(
    ("piece", "headers", "refused"),
    [
        (b"x" * (MAX_PIECE_BYTES + 1), {"HTTP_UPLOAD_OFFSET": "0"}, (413, "too-large", set())),
        (b"x" * 101, {"HTTP_UPLOAD_OFFSET": "0"}, (422, "invalid", {("Upload-Offset", "range")})),
        (b"x", {"HTTP_UPLOAD_OFFSET": "100"}, (422, "invalid", {("Upload-Offset", "range")})),
        (b"x", {}, (422, "invalid", {("Upload-Offset", "required")})),
        (b"x", {"HTTP_UPLOAD_OFFSET": "-1"}, (422, "invalid", {("Upload-Offset", "range")})),
        (b"x", {"HTTP_UPLOAD_OFFSET": "\u0661"}, (422, "invalid", {("Upload-Offset", "range")})),
        (b"", {"HTTP_UPLOAD_OFFSET": "0"}, (422, "invalid", {("", "required")})),
        (b"x", {"HTTP_UPLOAD_OFFSET": "0", "HTTP_CONTENT_ENCODING": "gzip"}, (400, "parse-error", set())),
        (b"x", {"HTTP_UPLOAD_OFFSET": "0", "content_type": "image/jpeg"}, (415, "unsupported-media-type", set())),
    ],
)
def test_invalid_piece_is_refused_and_not_stored(taster, session, piece, headers, refused):
    address, _ = announce(taster, b"x" * 100, session=str(session.id))
    given = {"content_type": "application/octet-stream", **headers}
    answer = taster.client.generic("PUT", f"{address}content", piece, **given)
    assert refusal(answer) == refused
    assert (taster.client.get(address).json()["received"], upload_size(Photo.objects.get().id)) == (0, 0)


def full_after(n_bytes, monkeypatch):
    """Make the disk take so many bytes and no more."""
    left, write = [n_bytes], os.write

    def writing(descriptor, data):
        if left[0] <= 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        done = write(descriptor, bytes(data)[: left[0]])
        left[0] -= done
        return done

    monkeypatch.setattr(photo_folder.os, "write", writing)


def test_full_disk_preserves_acknowledged_bytes_and_takes_the_piece_later(taster, session, folder, monkeypatch):
    file = phone_photo()
    address, answer = announce(taster, file, session=str(session.id))
    send(taster, address, file[:1000], 0)
    with monkeypatch.context() as full:
        full_after(200, full)
        refused = send(taster, address, file[1000:2000], 1000)
        assert refusal(refused)[:2] == (507, "disk-full")
    assert (folder / "uploads" / answer.json()["id"]).read_bytes() == file[:1000]
    assert taster.client.get(address).json()["received"] == 1000
    send(taster, address, file[1000:], 1000)

    with monkeypatch.context() as full:
        full_after(2000, full)  # the picture does not fit
        assert check_photo(UUID(answer.json()["id"]), now=timezone.now()) == "checking"
    assert on_disk(folder) == [f"uploads/{answer.json()['id']}"]
    assert Photo.objects.get().attempts == 0
    assert check_photo(UUID(answer.json()["id"]), now=timezone.now()) == "kept"


def test_room_is_left_for_the_database(taster, session, settings):
    settings.PHOTOS_LEAVE_FREE_BYTES = 2**62
    address, _ = announce(taster, b"x", session=str(session.id))
    assert refusal(send(taster, address, b"x", 0))[:2] == (507, "disk-full")
    settings.PHOTOS_LEAVE_FREE_BYTES = 0
    assert send(taster, address, b"x", 0).status_code == 200
