"""Clocks that are wrong: an edit from one far ahead counts as made when it is received, after what came before."""

from datetime import UTC, datetime, timedelta
from itertools import permutations
from uuid import UUID

import pytest
from django.utils import timezone

from teams.models import DeviceToken
from tests.api.phone import change, sync, verdict_names
from tests.factories import LotFactory
from tests.sync.wire import Clock

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 3, 5, 12, tzinfo=UTC)
FAST, OTHER = UUID(int=0xFA57), UUID(int=0xFFFF << 96)
"""The other device's id is the greater one, which wins at one moment."""


@pytest.fixture
def clock(monkeypatch, buyer):
    """The server's clock, which stands still unless it is moved."""
    clock = Clock(NOW)
    monkeypatch.setattr(timezone, "now", clock)
    DeviceToken.objects.update(expires_at=NOW + timedelta(days=1))
    return clock


@pytest.fixture
def lot(buyer, clock):
    return LotFactory(team=buyer.team, by=buyer.user)


def at(**ahead):
    return (NOW + timedelta(**ahead)).isoformat()


def remarks_of(buyer, lot):
    lot.refresh_from_db()
    return None if lot.removed else lot.remarks


def test_clock_ten_minutes_fast_wins_over_what_was_received_before(buyer, lot, clock):
    one_ahead = change("lot", lot.id, at=at(seconds=110), remarks="thin")
    far_ahead = change("lot", lot.id, at=at(minutes=10), remarks="round")
    assert verdict_names(sync(buyer.client, [one_ahead], device=OTHER)) == ["applied"]
    clock.now += timedelta(seconds=20)
    assert verdict_names(sync(buyer.client, [far_ahead], device=FAST)) == ["applied"]
    assert remarks_of(buyer, lot) == "round"

    for sent, device in ((far_ahead, FAST), (one_ahead, OTHER), (far_ahead, FAST)):
        clock.now += timedelta(minutes=4)
        assert verdict_names(sync(buyer.client, [sent], device=device)) == ["unchanged"]
        assert remarks_of(buyer, lot) == "round"


def test_deletion_and_return_from_a_fast_clock_count_as_received_last(buyer, lot):
    sync(buyer.client, [change("lot", lot.id, at=at(seconds=110), garden="Upper")], device=OTHER)
    sync(buyer.client, [change("lot", lot.id, at=at(minutes=10), deleted=True)], device=FAST)
    assert remarks_of(buyer, lot) is None
    sync(buyer.client, [change("lot", lot.id, at=at(minutes=9), remarks="back")], device=OTHER)
    assert remarks_of(buyer, lot) == "back"


@pytest.mark.parametrize("together", [True, False])
@pytest.mark.parametrize("numbered", [True, False])
def test_edits_of_one_fast_device_end_alike_in_any_order(buyer, clock, together, numbered):
    for order in permutations(range(3)):
        lot = LotFactory(team=buyer.team, by=buyer.user)
        sync(buyer.client, [change("lot", lot.id, at=at(seconds=110), remarks="of another")], device=OTHER)
        edits = [
            {
                **change("lot", lot.id, at=at(minutes=30, seconds=i), remarks=text),
                **({"seq": i + 1} if numbered else {}),
            }
            for i, text in enumerate(("thin", "round", "long"))
        ]
        for sent in [[edits[i] for i in order]] if together else [[edits[i]] for i in order]:
            clock.now += timedelta(seconds=1)
            sync(buyer.client, sent, device=FAST)
        assert remarks_of(buyer, lot) == "long", order


def test_edit_that_has_seen_that_of_a_fast_clock_wins(buyer, lot, clock):
    sync(buyer.client, [change("lot", lot.id, at=at(seconds=110), remarks="thin")], device=OTHER)
    seen = sync(buyer.client, [change("lot", lot.id, at=at(minutes=10), remarks="round")], device=FAST)
    [stamp] = [one["at"] for one in seen["changes"] if one["id"] == str(lot.id)]
    just_after = (datetime.fromisoformat(stamp) + timedelta(microseconds=1)).isoformat()
    sync(buyer.client, [change("lot", lot.id, at=just_after, remarks="long")], device=UUID(int=1))
    assert remarks_of(buyer, lot) == "long"
