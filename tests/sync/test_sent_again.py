"""Edits that were drawn back from a clock that ran ahead, and arrive again; descriptors renamed in one body."""

from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid4

import pytest
from django.utils import timezone

from teams.models import Team
from tests.api.phone import change, sync, verdict_names
from tests.factories import LotFactory

pytestmark = pytest.mark.django_db
AHEAD = UUID("00000000-0000-7000-8000-00000000000a")
RIGHT = UUID("00000000-0000-7000-8000-00000000000b")
NOON = datetime(2026, 3, 4, 14, tzinfo=UTC)


@pytest.fixture
def clock(monkeypatch):
    """Set the server's clock to so many minutes after noon."""

    def set_to(minutes):
        monkeypatch.setattr(timezone, "now", lambda: NOON + timedelta(minutes=minutes))

    set_to(0)
    return set_to


@pytest.fixture
def lot(taster, clock):
    taster.device.expires_at = NOON + timedelta(days=1)
    taster.device.save()
    return LotFactory(team=taster.team, by=taster.user)


def at(minutes):
    return (NOON + timedelta(minutes=minutes)).isoformat().replace("+00:00", "Z")


def remarks(taster, lot):
    return taster.client.get(f"/api/v1/lots/{lot.id}/").json()["remarks"]


def revision(taster):
    return Team.objects.get(id=taster.team.id).revision


def test_again_after_the_clock_has_caught_up_is_known(taster, lot, clock):
    ahead = change("lot", lot.id, at=at(10), remarks="thin")
    sync(taster.client, [ahead], device=AHEAD)
    before = revision(taster)
    clock(11)
    assert verdict_names(sync(taster.client, [ahead], device=AHEAD)) == ["unchanged"]
    assert revision(taster) == before


def test_again_after_the_clock_has_caught_up_does_not_undo_what_came_later(taster, lot, clock):
    ahead = change("lot", lot.id, at=at(10), remarks="thin")
    sync(taster.client, [ahead], device=AHEAD)
    clock(5)
    sync(taster.client, [change("lot", lot.id, at=at(5), remarks="round")], device=RIGHT)
    clock(11)
    assert verdict_names(sync(taster.client, [ahead], device=AHEAD)) == ["unchanged"]
    assert remarks(taster, lot) == "round"


def test_again_is_known_where_another_had_said_the_same_meanwhile(taster, lot, clock):
    ahead = change("lot", lot.id, at=at(600), remarks="thin")
    sync(taster.client, [ahead], device=AHEAD)
    clock(1)
    sync(taster.client, [change("lot", lot.id, at=at(1), remarks="thin")], device=RIGHT)
    clock(2)
    sync(taster.client, [change("lot", lot.id, at=at(2), remarks="round")], device=RIGHT)
    clock(3)
    assert verdict_names(sync(taster.client, [ahead], device=AHEAD)) == ["unchanged"]
    assert remarks(taster, lot) == "round"


def test_again_is_known_where_it_lost_to_the_same_value(taster, lot, clock):
    sync(taster.client, [change("lot", lot.id, at=at(1.5), remarks="thin")], device=RIGHT)
    ahead = change("lot", lot.id, at=at(600), remarks="thin")
    sync(taster.client, [ahead], device=AHEAD)
    clock(2)
    sync(taster.client, [change("lot", lot.id, at=at(2), remarks="round")], device=RIGHT)
    clock(3)
    assert verdict_names(sync(taster.client, [ahead], device=AHEAD)) == ["unchanged"]
    assert remarks(taster, lot) == "round"


def test_an_old_deletion_again_does_not_delete_what_was_brought_back(taster, lot, clock):
    ahead = change("lot", lot.id, at=at(600), deleted=True)
    sync(taster.client, [ahead], device=AHEAD)
    clock(1)
    sync(taster.client, [change("lot", lot.id, at=at(1), deleted=True)], device=RIGHT)
    clock(2)
    sync(taster.client, [change("lot", lot.id, at=at(2), remarks="here")], device=RIGHT)
    clock(3)
    sync(taster.client, [ahead], device=AHEAD)
    assert remarks(taster, lot) == "here"


def test_twice_in_one_body_is_known_both_times(taster, lot, clock):
    ahead = change("lot", lot.id, at=at(600), remarks="thin")
    sync(taster.client, [ahead], device=AHEAD)
    clock(1)
    sync(taster.client, [change("lot", lot.id, at=at(1), remarks="round")], device=RIGHT)
    clock(2)
    assert verdict_names(sync(taster.client, [ahead, ahead], device=AHEAD)) == ["unchanged", "unchanged"]
    assert remarks(taster, lot) == "round"


def test_a_key_is_free_in_the_body_that_deletes_its_word(taster, lot):
    word = uuid4()
    sync(taster.client, [change("descriptor", word, key="slate", label="slate")])
    sent = [
        change("descriptor", word, at="2026-03-04T12:40:00Z", deleted=True),
        change("descriptor", uuid4(), at="2026-03-04T12:40:00Z", key="slate", label="wet slate"),
    ]
    assert verdict_names(sync(taster.client, sent)) == ["applied", "applied"]
