"""Photos in a bucket of a real server of the S3 protocol, in a process of its own."""

import socket
import time
import zipfile
from uuid import UUID, uuid4

import pytest
from django.utils import timezone

from config.backup.photos import PhotoCopier, restore_photos
from config.dev.object_store import start_object_store
from config.dev.process import stop_all
from tastings.actions.photo_checks import check_photo, delete_unused_photos
from tastings.errors import PhotoStoreAway
from tastings.models import Photo
from tastings.models.photo_bucket import BucketStore
from tastings.models.photo_files import stored_photos, upload_size
from tests.api.problems import refusal
from tests.tastings.photos.photographs import announce, phone_photo, send

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    """The environment of a store's clients."""
    child, environment = start_object_store(tmp_path_factory.mktemp("store"), pause=time.sleep)
    yield environment
    stop_all([child])


@pytest.fixture
def bucket(server, settings, monkeypatch):
    """A store of its own, which the settings name."""
    for name, value in server.items():
        monkeypatch.setenv(name, value)
    settings.PHOTO_BUCKET = f"s3://tea/{uuid4().hex}"
    return BucketStore(settings.PHOTO_BUCKET)


def keys(bucket):
    return [*bucket.keys("uploads"), *bucket.keys("kept")]


def test_pieces_become_a_picture_which_is_served_and_deleted(taster, session, bucket, folder):
    file = phone_photo()
    address, answer = announce(taster, file, session=str(session.id))
    photo = UUID(answer.json()["id"])
    for offset in (0, 1000, 1000):  # an answer was lost, and the piece is sent again
        send(taster, address, file[offset : offset + 1000], offset)
    assert (upload_size(photo), bucket.open(f"uploads/{photo}").read()) == (2000, file[:2000])
    send(taster, address, file[2000:], 2000)

    assert check_photo(photo, now=timezone.now()) == "kept"
    (_, name), *others = stored_photos(older_than_s=0)
    assert (others, len(keys(bucket))) == ([], 2)  # picture and thumbnail; the pieces are gone
    served = b"".join(taster.client.get(f"{address}image"))
    assert served == bucket.open(next(key for key in keys(bucket) if key.endswith(f"/{name}.jpg"))).read()
    assert delete_unused_photos(now=timezone.now()) == 0

    assert taster.client.delete(address).status_code == 204
    assert keys(bucket) == []
    assert taster.client.get(f"{address}image").status_code == 404
    assert not folder.exists()


def test_upload_ends_where_a_piece_is_missing(bucket):
    for offset in (0, 3, 9):
        bucket.append("uploads/x", offset=offset, piece=b"abc")
    assert (bucket.size("uploads/x"), bucket.open("uploads/x").read()) == (6, b"abcabc")
    bucket.append("uploads/x", offset=3, piece=b"de")
    assert bucket.open("uploads/x").read() == b"abcde"
    bucket.delete("uploads/x")
    assert (keys(bucket), bucket.size("uploads/x")) == ([], 0)
    with pytest.raises(FileNotFoundError):
        bucket.open("uploads/x")


def test_store_that_is_away_refuses_a_piece_and_loses_nothing(taster, session, bucket, settings, monkeypatch):
    file, present = phone_photo(), settings.PHOTO_BUCKET
    address, answer = announce(taster, file, session=str(session.id))
    photo = UUID(answer.json()["id"])
    send(taster, address, file[:1000], 0)
    with socket.create_server(("127.0.0.1", 0)) as closed:
        nobody = closed.getsockname()[1]
    away = f"s3://tea/{uuid4().hex}"
    with monkeypatch.context() as patch:
        patch.setenv("AWS_ENDPOINT_URL", f"http://127.0.0.1:{nobody}")
        with pytest.raises(PhotoStoreAway):
            BucketStore(away).size("uploads/x")
        settings.PHOTO_BUCKET = away
        refused = send(taster, address, file[1000:], 1000)
        assert (refusal(refused)[:2], refused["Retry-After"]) == ((503, "photos-unavailable"), "5")
    settings.PHOTO_BUCKET = present
    assert taster.client.get(address).json()["received"] == 1000
    send(taster, address, file[1000:], 1000)

    settings.PHOTO_BUCKET = away
    assert check_photo(photo, now=timezone.now()) == "checking"
    assert Photo.objects.get().attempts == 0
    settings.PHOTO_BUCKET = present
    assert check_photo(photo, now=timezone.now()) == "kept"


def test_backup_of_a_bucket_comes_back_into_another(bucket, settings, tmp_path):
    team, upload = uuid4(), uuid4()
    for offset, piece in ((0, b"abc"), (3, b"def")):
        bucket.append(f"uploads/{upload}", offset=offset, piece=piece)
    bucket.write(f"kept/{team}/ab/ab12.jpg", b"picture")
    path = tmp_path / "photos.zip"
    with zipfile.ZipFile(path, "w") as target, (tmp_path / "list").open("w+b") as listing:
        copier = PhotoCopier(bucket, target, listing)
        copier.copy("kept")
        copier.copy("uploads")
        listing.seek(0)
        target.writestr("photos.jsonl", listing.read())
    with zipfile.ZipFile(path) as source:
        assert restore_photos(source, tmp_path / "beside") == copier.count == 2

    other = BucketStore(f"s3://tea/{uuid4().hex}")
    other.move_in(tmp_path / "beside")
    assert {key: other.open(key).read() for key in keys(other)} == {
        f"uploads/{upload}": b"abcdef",
        f"kept/{team}/ab/ab12.jpg": b"picture",
    }
