"""Lost jobs, tidying, forgetting, and the rules that the database holds itself."""

import os
from datetime import timedelta
from pathlib import Path
from uuid import uuid4

import pytest
from django.db import IntegrityError, connection, transaction
from django.utils import timezone

from tastings.actions.photo_checks import delete_unused_photos, enqueue_due_photos
from tastings.actions.pruning import prune_all
from tastings.models import Photo, PhotoContent
from tests.factories import InfusionFactory, LotFactory, SessionFactory
from tests.tastings.photos.photographs import (
    announce,
    on_disk,
    phone_photo,
    send,
    served,
    upload_and_check,
)

pytestmark = pytest.mark.django_db


def test_lost_check_is_enqueued_again(taster, session):
    address, _ = announce(taster, b"x", session=str(session.id))
    send(taster, address, b"x", 0)
    now = timezone.now()
    assert enqueue_due_photos(now=now + timedelta(minutes=1)) == 0
    assert enqueue_due_photos(now=now + timedelta(minutes=5)) == 1
    assert enqueue_due_photos(now=now + timedelta(minutes=6)) == 0


def test_tidying_takes_what_nothing_names_and_nothing_else(taster, session, folder):
    file = phone_photo()
    address, _ = upload_and_check(taster, file, session=str(session.id))
    begun, _ = announce(taster, b"xx", session=str(session.id))
    send(taster, begun, b"x", 0)
    name = next(Path(n).name for n in on_disk(folder) if n.startswith("kept")).partition(".")[0]
    stray = [folder / "uploads" / str(uuid4()), folder / "kept" / str(taster.team.id) / "ab" / f"ab{name}.jpg"]
    half = folder / "kept" / str(taster.team.id) / name[:2] / "x.jpg.1.new"
    for path in (*stray, half):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"left over")
    assert delete_unused_photos(now=timezone.now()) == 0  # nothing is old enough
    for path in folder.rglob("*"):
        os.utime(path, (0, 0))
    assert delete_unused_photos(now=timezone.now()) == 2
    assert [path.exists() for path in (*stray, half)] == [False] * 3
    assert served(taster, address)[1]
    assert taster.client.get(begun).json()["received"] == 1
    assert delete_unused_photos(now=timezone.now() + timedelta(days=31)) == 1
    assert (taster.client.get(begun).json()["received"], len(on_disk(folder))) == (0, 2)
    assert send(taster, begun, b"xx", 0).json()["state"] == "checking"


@pytest.mark.django_db(transaction=True)
def test_photos_are_forgotten_with_their_session_and_their_picture_after(taster, folder):
    infusion = InfusionFactory(session=SessionFactory(lot=LotFactory(team=taster.team, by=taster.user)))
    upload_and_check(taster, phone_photo(), session=str(infusion.session_id), infusion=str(infusion.id))
    for row in (infusion, infusion.session):
        type(row).objects.update(removed=True)
    prune_all(now=infusion.updated_at + timedelta(days=401))
    assert (type(infusion.session).objects.count(), Photo.objects.count()) == (0, 0)
    assert delete_unused_photos(now=timezone.now()) == 1
    assert (on_disk(folder), PhotoContent.objects.count()) == ([], 0)


@pytest.mark.parametrize(
    ("change", "constraint"),
    [
        ({"lot_id": "lot"}, "photo_of_session_or_lot"),
        ({"session_id": None}, "photo_of_session_or_lot"),
        ({"of": "cake"}, "photo_of_choice"),
        ({"sha256": "A" * 64}, "photo_sha256_form"),
        ({"bytes": 0, "received": 0}, "photo_bytes_range"),
        ({"received": 10}, "photo_received_range"),
        ({"state": "lost"}, "photo_state_choice"),
        ({"state": "refused"}, "photo_refused_for_a_reason"),
        ({"reason": "wrong_hash"}, "photo_refused_for_a_reason"),
        ({"state": "checking"}, "photo_complete_before_check"),
        ({"state": "kept", "received": 9}, "photo_kept_has_content"),
        ({"colour": {}}, "photo_colour_of_kept"),
        ({"session_id": "theirs"}, "photo_session_of_team"),
        ({"infusion_id": "other"}, "photo_infusion_of_session"),
        ({"content_id": "content", "state": "kept", "received": 9}, "photo_content_is_its_own"),
    ],
)
def test_database_enforces_every_rule(taster, stranger, session, change, constraint):
    announce(taster, b"123456789", session=str(session.id))
    ids = {
        "lot": session.lot_id,
        "theirs": SessionFactory(lot=LotFactory(team=stranger.team, by=stranger.user)).id,
        "other": InfusionFactory(session=SessionFactory(lot=session.lot)).id,
        "content": PhotoContent.objects.create(
            team=taster.team, sha256="a" * 64, bytes=9, width=4, height=3, image_sha256="b" * 64,
            thumbnail_sha256="c" * 64, created_at=timezone.now(),
        ).id,
    }  # fmt: skip
    values = {name: ids.get(value, value) if isinstance(value, str) else value for name, value in change.items()}
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        Photo.objects.update(**values)


@pytest.mark.parametrize(
    ("change", "constraint"),
    [
        ({"width": 10_000, "height": 5_001}, "photo_content_pixels"),
        ({"width": 0}, "photo_content_pixels"),
        ({"bytes": 0}, "photo_content_bytes"),
        ({"sha256": "x"}, "photo_content_sha256_form"),
        ({"image_sha256": "x"}, "photo_content_digests_form"),
    ],
)
def test_database_enforces_the_rules_of_pictures(taster, session, change, constraint):
    fields = {"team": taster.team, "sha256": "a" * 64, "bytes": 9, "width": 10_000, "height": 5_000}
    fields |= {"image_sha256": "b" * 64, "thumbnail_sha256": "c" * 64, "created_at": timezone.now()}
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        PhotoContent.objects.create(**{**fields, **change})
    PhotoContent.objects.create(**fields)
    with pytest.raises(IntegrityError, match="photo_content_once_per_team"), transaction.atomic():
        PhotoContent.objects.create(**fields)
