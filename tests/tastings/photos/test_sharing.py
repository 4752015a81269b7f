"""Kept once per team, served to it alone, and to the taster alone while a session is private."""

from uuid import UUID, uuid4

import pytest
from django.utils import timezone

from tastings.actions.photo_checks import check_photo
from tastings.models import Photo, PhotoContent
from tests.api.problems import refusal
from tests.factories import LotFactory, SessionFactory
from tests.tastings.photos.photographs import (
    LIQUOR,
    WHITE,
    announce,
    announced,
    encode_image,
    on_disk,
    phone_photo,
    scene,
    send,
    served,
    upload_and_check,
)

pytestmark = pytest.mark.django_db


def test_same_bytes_are_stored_once_per_team(taster, owner, session, lot, folder):
    file = phone_photo()
    _, first = upload_and_check(taster, file, session=str(session.id))
    files = on_disk(folder)
    address, answer = announce(owner, file, lot=str(lot.id), of="dry_leaf")
    assert (answer.json()["state"], answer.json()["received"], first["state"]) == ("kept", len(file), "kept")
    assert (on_disk(folder), PhotoContent.objects.count()) == (files, 1)
    assert served(owner, address)[1]


def test_another_team_learns_nothing_and_stores_its_own(taster, stranger, session, folder):
    file = phone_photo()
    upload_and_check(taster, file, session=str(session.id))
    theirs = LotFactory(team=stranger.team, by=stranger.user)
    _, answer = announce(stranger, file, lot=str(theirs.id))
    assert (answer.json()["state"], answer.json()["received"]) == ("receiving", 0)
    upload_and_check(stranger, file, lot=str(theirs.id))
    assert (PhotoContent.objects.count(), len(on_disk(folder))) == (2, 4)


def test_who_knows_only_the_digest_of_a_hidden_photo_does_not_get_it(taster, owner, lot, folder):
    file = phone_photo()
    upload_and_check(taster, file, session=str(SessionFactory(lot=lot, private=True).id))
    address, answer = announce(owner, file, lot=str(lot.id))
    assert (answer.json()["state"], owner.client.get(f"{address}image").status_code) == ("receiving", 404)
    send(owner, address, file, 0)  # who has the bytes may: they are still kept once
    assert check_photo(UUID(answer.json()["id"]), now=timezone.now()) == "kept"
    assert (PhotoContent.objects.count(), len(on_disk(folder))) == (1, 2)


def test_the_same_bytes_under_way_twice_end_as_one_picture(taster, owner, session, folder):
    file = phone_photo()
    both = [announce(who, file, session=str(session.id)) for who in (taster, owner)]
    for who, (address, _) in zip((taster, owner), both, strict=True):
        send(who, address, file, 0)
    assert [check_photo(UUID(answer.json()["id"]), now=timezone.now()) for _, answer in both] == ["kept", "kept"]
    assert (PhotoContent.objects.count(), len(on_disk(folder))) == (1, 2)


def test_a_deleted_photo_takes_its_picture_along_when_no_other_shows_it(taster, owner, session, folder):
    file = phone_photo()
    first, _ = upload_and_check(taster, file, session=str(session.id))
    second, _ = upload_and_check(owner, file, session=str(session.id))
    assert taster.client.delete(first).status_code == 204
    assert [taster.client.get(first + end).status_code for end in ("", "image", "thumbnail")] == [404] * 3
    assert served(owner, second)[1]
    assert owner.client.delete(second).status_code == 204
    assert owner.client.delete(second).status_code == 404
    assert (on_disk(folder), PhotoContent.objects.count(), Photo.objects.count()) == ([], 0, 2)
    _, again = upload_and_check(taster, file, session=str(session.id))
    assert again["state"] == "kept"


def test_an_upload_deleted_under_way_leaves_nothing(taster, session, folder):
    file = encode_image(scene())
    address, answer = announce(taster, file, session=str(session.id))
    send(taster, address, file, 0)
    assert taster.client.delete(address).status_code == 204
    assert check_photo(UUID(answer.json()["id"]), now=timezone.now()) == ""
    assert on_disk(folder) == []


def test_served_file_has_cache_headers(taster, session):
    address, _ = upload_and_check(taster, phone_photo(width=800, height=600), session=str(session.id))
    answer, _ = served(taster, address)
    assert answer["Cache-Control"] == "private, no-cache"
    assert (answer["X-Content-Type-Options"], "Authorization" in answer["Vary"]) == ("nosniff", True)
    unchanged = taster.client.get(f"{address}image", headers={"if-none-match": answer["ETag"]})
    assert (unchanged.status_code, unchanged.content) == (304, b"")
    only_images = taster.client.get(f"{address}thumbnail", headers={"accept": "image/*"})
    assert (only_images.status_code, only_images["ETag"] != answer["ETag"]) == (200, True)
    assert only_images.getvalue()[:2] == b"\xff\xd8"
    refused = taster.client.get(f"/api/v1/photos/{uuid4()}/image", headers={"accept": "image/*"})
    assert refusal(refused)[:2] == (404, "not-here")


@pytest.mark.parametrize("end", ["", "image", "thumbnail"])
def test_photos_of_a_private_session_look_absent_to_the_rest_of_the_team(taster, owner, lot, session, end):
    hidden, _ = upload_and_check(taster, phone_photo(), session=str(SessionFactory(lot=lot, private=True).id))
    open_one, _ = upload_and_check(taster, encode_image(scene()), session=str(session.id))
    answers = [owner.client.get(address + end) for address in (hidden, f"/api/v1/photos/{uuid4()}/")]
    assert (answers[0].status_code, answers[0].content) == (404, answers[1].content)
    assert [row["id"] in open_one for row in owner.client.get("/api/v1/photos/").json()["results"]] == [True]
    assert len(taster.client.get("/api/v1/photos/").json()["results"]) == 2
    mine = announced(b"x", session=str(lot.id))
    unknown = announced(b"x", session=Photo.objects.get(id=hidden.split("/")[-2]).session_id.hex)
    assert [refusal(owner.client.post("/api/v1/photos/", body))[2] for body in (mine, unknown)] == [
        {("session", "unknown_parent")}
    ] * 2


def test_photos_of_a_deleted_session_are_hidden_and_come_back_with_it(taster, session):
    address, _ = upload_and_check(taster, phone_photo(), session=str(session.id))
    type(session).objects.update(removed=True)
    assert taster.client.get(address).status_code == 404
    type(session).objects.update(removed=False)
    assert taster.client.get(address).status_code == 200


def test_viewers_look_and_do_nothing_and_uploads_are_their_beginners(taster, viewer, owner, session):
    address, _ = upload_and_check(taster, phone_photo(), session=str(session.id))
    assert served(viewer, address)[1]
    assert viewer.client.get(address).status_code == 200
    regions = {"white": WHITE, "liquor": LIQUOR}
    answers = [
        viewer.client.post("/api/v1/photos/", announced(b"x", session=str(session.id))),
        send(viewer, address, b"x", 0),
        viewer.client.delete(address),
        viewer.client.post(f"{address}colour", regions),
    ]
    assert [refusal(answer)[:2] for answer in answers] == [(403, "not-allowed")] * 4
    begun, _ = announce(taster, b"xx", session=str(session.id))
    assert refusal(send(owner, begun, b"x", 0))[:2] == (403, "not-allowed")


def test_photos_are_listed_by_session_and_lot_in_pages(taster, session, lot, django_assert_num_queries):
    made = [announce(taster, bytes([i]), session=str(session.id))[1].json()["id"] for i in range(3)]
    announce(taster, b"x", lot=str(lot.id))
    upload_and_check(taster, phone_photo(), lot=str(lot.id))
    taster.client.get("/api/v1/me")
    with django_assert_num_queries(3):
        found = taster.client.get("/api/v1/photos/", {"session": str(session.id), "limit": 2}).json()
    rest = taster.client.get(found["next"]).json()
    assert [row["id"] for row in found["results"] + rest["results"]] == sorted(made)
    with django_assert_num_queries(3):
        assert len(taster.client.get("/api/v1/photos/", {"lot": str(lot.id)}).json()["results"]) == 2
    assert taster.client.get("/api/v1/photos/", {"lot": str(uuid4())}).json()["results"] == []
    refused = [taster.client.get("/api/v1/photos/", query) for query in ({"lot": "x"}, {"of": "liquor"})]
    assert [refusal(answer)[2] for answer in refused] == [{("lot", "id")}, {("of", "unknown_filter")}]
