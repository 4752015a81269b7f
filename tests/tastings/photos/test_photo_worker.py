"""A real worker makes the picture of what a phone has sent."""

from tests.factories import LotFactory, TeamFactory, person
from tests.sync.test_refresh import wait_for, worker
from tests.tastings.photos.photographs import announce, on_disk, phone_photo, send, served

__all__ = ["worker"]  # a fixture


def test_a_worker_checks_what_is_complete(worker, folder, monkeypatch):
    monkeypatch.undo()  # messages go out again
    who = person(TeamFactory(), "taster")
    file = phone_photo()
    address, _ = announce(who, file, lot=str(LotFactory(team=who.team, by=who.user).id))
    assert send(who, address, file, 0).json()["state"] in ("checking", "kept")
    wait_for(lambda: who.client.get(address).json()["state"] == "kept")
    assert served(who, address)[1][:2] == b"\xff\xd8"
    wait_for(lambda: len(on_disk(folder)) == 2)  # the upload is deleted after the commit
