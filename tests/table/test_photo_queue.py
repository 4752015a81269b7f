"""The photo queue against the real application: sent in pieces, resumed, never lost."""

import errno
import hashlib
from datetime import UTC, datetime

import pytest

from table.phone import JournalStore, MemoryStore, RefusedError, StoreError, UnreachableError
from tastings.models import Photo, photo_files, photo_folder
from tests.factories import LotFactory
from tests.sync.wire import Wire
from tests.table.test_with_server import POT, phone_of
from tests.tastings.photos.photographs import phone_photo

TAKEN = datetime(2026, 3, 4, 10, 5, tzinfo=UTC)
pytestmark = pytest.mark.django_db


@pytest.fixture
def wire():
    return Wire(lambda *answer: None)


@pytest.fixture(autouse=True)
def _folder(settings, tmp_path, monkeypatch):
    settings.PHOTOS_DIR = tmp_path / "photos"
    settings.PHOTOS_LEAVE_FREE_BYTES = 0
    monkeypatch.setattr("table.phone.photo_queue.PIECE_BYTES", 1000)


@pytest.fixture
def shot(tmp_path):
    path = tmp_path / "leaf.jpg"
    path.write_bytes(phone_photo())
    assert path.stat().st_size > 1000  # more than one piece
    return path


def received(photo):
    return Photo.objects.get(id=photo)


def test_photo_arrives_byte_for_byte(wire, taster, shot):
    phone = phone_of(taster, wire)
    photo = phone.photos.add(shot, subject="dry_leaf", lot=str(LotFactory(team=taster.team).id), taken_at=TAKEN)

    assert (phone.photos.send(), phone.photos.waiting) == (1, [])
    stored = received(photo)
    assert (stored.state, stored.received, stored.taken_at) == ("checking", shot.stat().st_size, TAKEN)
    assert hashlib.sha256(photo_files.read_upload(stored.id)).hexdigest() == stored.sha256


@pytest.mark.parametrize("fault", ["request lost", "answer lost", "twice"])
@pytest.mark.parametrize("at", [0, 1, 2])
def test_broken_upload_is_resumed_where_it_broke(wire, taster, shot, fault, at):
    phone = phone_of(taster, wire)
    photo = phone.photos.add(shot, subject="liquor", lot=str(LotFactory(team=taster.team).id), taken_at=TAKEN)
    wire.faults = ["none"] * at + [fault]
    if fault != "twice":
        with pytest.raises(UnreachableError):
            phone.photos.send()
    assert phone.photos.send() == 1
    assert hashlib.sha256(photo_files.read_upload(received(photo).id)).hexdigest() == received(photo).sha256


def test_photo_waits_for_its_session_and_survives_a_restart(wire, taster, shot, tmp_path):
    phone = phone_of(taster, wire, store=JournalStore(tmp_path / "journal"))
    session = phone.create("session", POT | {"lot": str(LotFactory(team=taster.team).id)})
    photo = phone.photos.add(shot, subject="wet_leaf", session=session, taken_at=TAKEN)
    assert phone.photos.send() == 0
    phone._store.close()

    again = phone_of(taster, wire, store=JournalStore(tmp_path / "journal"))
    again._store.compact()
    again.sync()
    assert again.photos.send() == 1
    assert str(received(photo).session_id) == session
    again._store.close()


def test_full_disk_keeps_the_photo_waiting(wire, taster, shot, monkeypatch):
    phone = phone_of(taster, wire)
    photo = phone.photos.add(shot, subject="dry_leaf", lot=str(LotFactory(team=taster.team).id), taken_at=TAKEN)

    def full(*_):
        raise OSError(errno.ENOSPC, "no space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(photo_folder, "_write", full)
        with pytest.raises(RefusedError) as refused:
            phone.photos.send()
    assert refused.value.status == 507
    assert [one.id for one in phone.photos.waiting] == [photo]
    assert phone.photos.send() == 1


def test_refused_photo_is_listed(wire, taster, shot):
    phone = phone_of(taster, wire)
    lot = str(LotFactory(team=taster.team).id)
    phone.photos.add(shot, subject="portrait", lot=lot, taken_at=TAKEN)
    good = phone.photos.add(shot, subject="dry_leaf", lot=lot, taken_at=TAKEN)

    assert phone.photos.send() == 1
    [refused] = phone.photos.refused
    assert [problem["field"] for problem in refused.problems] == ["of"]
    phone.photos.dismiss(refused)
    assert (phone.photos.refused, received(good).state) == ([], "checking")


def test_file_that_was_cut_meanwhile_raises(wire, taster, shot):
    phone = phone_of(taster, wire, store=MemoryStore())
    phone.photos.add(shot, subject="dry_leaf", lot=str(LotFactory(team=taster.team).id), taken_at=TAKEN)
    shot.write_bytes(shot.read_bytes()[:500])

    with pytest.raises(StoreError, match="shorter"):
        phone.photos.send()
