"""Old deletions are forgotten, and who might have missed one must start again."""

import json
from datetime import timedelta

import pytest
from django.utils import timezone

from lots.models import Lot
from tastings.actions.pruning import RETENTION, prune_all
from tastings.models import Infusion, Note, Session
from tastings.queries.pull import pull
from teams.models import DeviceToken, Team
from tests.api.phone import PHONE, change, post_sync, pulled_records, sync, verdict_names
from tests.api.problems import refusal
from tests.api.records import Place
from tests.factories import LotFactory
from tests.row_security import as_worker

pytestmark = pytest.mark.django_db
NOW = timezone.now()


def deleted(who, *records, days_ago):
    """Delete records and make it so long ago."""
    sync(
        who.client,
        [change(record.schema.type, record.id, deleted=True) for record in records],
        cursor=Team.objects.get(id=who.team.id).revision,
    )
    for record in records:
        type(record).objects.filter(id=record.id).update(updated_at=NOW - timedelta(days=days_ago))


def test_only_old_deletions_on_which_nothing_hangs_are_forgotten(taster):
    place, other = Place(taster), Place(taster)
    deleted(taster, place.note, place.infusion, place.session, place.lot, days_ago=401)
    deleted(taster, other.session, days_ago=401)  # its infusion lives on
    recent = LotFactory(team=taster.team, by=taster.user)
    deleted(taster, recent, days_ago=399)
    assert prune_all(now=NOW) == 4
    assert set(Lot.objects.values_list("id", flat=True)) == {other.lot.id, recent.id}
    assert (Session.objects.count(), Infusion.objects.count(), Note.objects.count()) == (1, 1, 1)
    assert prune_all(now=NOW) == 0


@pytest.fixture
def forgotten(taster):
    """A phone that pulled once, then one old deletion that is forgotten; gives the phone's cursor."""
    lots = [LotFactory(team=taster.team, by=taster.user) for _ in range(4)]
    cursor = sync(taster.client)["cursor"]
    DeviceToken.objects.update(began_at=NOW - timedelta(days=500))
    deleted(taster, lots[0], days_ago=450)
    LotFactory(team=taster.team, by=taster.user)
    assert prune_all(now=NOW) == 1
    return cursor


def test_a_phone_that_may_have_missed_a_deletion_is_told_and_nothing_is_applied(taster, forgotten):
    sent = [change("lot", name="Unsent", kind="green")]
    answer = post_sync(taster.client, changes=sent, cursor=forgotten)
    assert refusal(answer)[:2] == (410, "start-again")
    assert not Lot.objects.filter(name="Unsent").exists()
    again = sync(taster.client, sent, cursor=0)  # from the start, with what was not sent
    assert verdict_names(again) == ["applied"]


def test_a_full_pull_can_be_taken_in_pages_and_taken_up_again(taster, forgotten):
    cursor, seen = 0, set()
    while True:
        answer = sync(taster.client, cursor=cursor, limit=1)  # cursors on the way are below what was forgotten
        seen |= {c["id"] for c in pulled_records(answer["changes"])}
        cursor = answer["cursor"]
        if not answer["more"]:
            break
    assert seen == {str(i) for i in Lot.objects.values_list("id", flat=True)}


def test_a_phone_that_kept_up_goes_on(taster, forgotten):
    current = Team.objects.get(id=taster.team.id).revision
    assert sync(taster.client, cursor=current)["changes"] == []


def test_forgetting_more_than_a_phone_on_its_way_can_know_stops_it(taster, forgotten):
    answer = sync(taster.client, cursor=0, limit=1)
    Team.objects.filter(id=taster.team.id).update(pruned_before=timezone.now() + timedelta(seconds=1))
    assert post_sync(taster.client, changes=[], cursor=answer["cursor"]).status_code == 410


def test_tombstones_are_kept_400_days():
    assert timedelta(days=400) == RETENTION


def test_stream_during_which_a_deletion_is_forgotten_ends_and_the_phone_starts_again(taster):
    lots = [LotFactory(team=taster.team, by=taster.user) for _ in range(4)]
    cursor = sync(taster.client)["cursor"]
    DeviceToken.objects.update(began_at=NOW - timedelta(days=500))
    for _ in range(5):
        LotFactory(team=taster.team, by=taster.user)
    deleted(taster, lots[0], days_ago=450)
    sent = {"schema": 1, "device": str(PHONE), "cursor": cursor, "limit": 2}
    stream = iter(taster.client.post("/api/v1/sync/stream", sent))
    pages = [json.loads(next(stream))]
    assert prune_all(now=NOW) == 1
    pages += [json.loads(line) for line in stream]

    assert pages[-1]["more"] is True
    assert post_sync(taster.client, changes=[], cursor=pages[-1]["cursor"]).status_code == 410


def test_deletion_forgotten_between_check_and_pull_makes_the_phone_start_again(taster, monkeypatch):
    lots = [LotFactory(team=taster.team, by=taster.user) for _ in range(2)]
    cursor = sync(taster.client)["cursor"]
    DeviceToken.objects.update(began_at=NOW - timedelta(days=500))
    deleted(taster, lots[0], days_ago=450)

    def prune_and_pull(*args, **kwargs):
        with as_worker():
            prune_all(now=NOW)
        return pull(*args, **kwargs)

    monkeypatch.setattr("api.sync.sync.pull", prune_and_pull)
    assert post_sync(taster.client, changes=[], cursor=cursor).status_code == 410
