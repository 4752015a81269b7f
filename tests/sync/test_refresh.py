"""From a committed change to fresh figures: marking, asking, computing, and what a lost message costs."""

from datetime import timedelta
from uuid import uuid4

import pytest
from celery import current_app
from django.db import connection, connections, transaction
from django.utils import timezone
from kombu import pools

from tastings.actions.developments import refresh_development
from tastings.actions.due import enqueue_due_lots
from tastings.actions.lexicon import load_lexicon
from tastings.jobs import Job
from tastings.models import Development
from tests.api.phone import change, sync
from tests.factories import LotFactory, TeamFactory, person
from tests.sync.test_push import pot

KEYS = ("strength", "sweetness", "honey")


def brewed(client, lot, *, infusions=5):
    """Sync one session; return the development's address."""
    sync(client, pot(lot.id, infusions=infusions, notes_each=3, keys=KEYS)[1])
    return f"/api/v1/lots/{lot.id}/development"


@pytest.mark.django_db
def test_figures_follow_a_change(taster, lexicon):
    lot = LotFactory(team=taster.team)
    address = brewed(taster.client, lot)
    before = taster.client.get(address).json()
    assert (before["stale"], before["evidence"]["sessions"]) == (True, 0)
    assert refresh_development(lot.id, now=timezone.now())
    answer = taster.client.get(address)
    after = answer.json()
    assert (after["stale"], after["evidence"]["sessions"], after["evidence"]["infusions"]) == (False, 1, 5)
    assert [curve["descriptor"] for curve in after["curves"]] == ["strength", "sweetness"]
    assert after["steeps"]["finish_line"] == pytest.approx(2.5, abs=0.05)  # nothing learned yet, and no ending said
    assert after["revision"] == sync(taster.client)["cursor"]
    assert taster.client.get(address, headers={"if-none-match": answer["ETag"]}).status_code == 304
    assert not refresh_development(lot.id, now=timezone.now())  # nothing left to do


@pytest.mark.django_db
def test_deleting_a_session_takes_it_out_of_the_figures(taster, lexicon):
    lot = LotFactory(team=taster.team)
    session, changes = pot(lot.id, infusions=3, notes_each=3, keys=KEYS)
    sync(taster.client, changes)
    refresh_development(lot.id, now=timezone.now())
    sync(taster.client, [change("session", session, at="2026-03-04T13:00:00Z", deleted=True)])
    refresh_development(lot.id, now=timezone.now())
    figures = taster.client.get(f"/api/v1/lots/{lot.id}/development").json()
    assert (figures["evidence"]["sessions"], figures["curves"], figures["stale"]) == (0, [], False)


@pytest.mark.django_db
def test_a_session_turned_private_leaves_the_figures(taster, lexicon):
    lot = LotFactory(team=taster.team)
    session, changes = pot(lot.id, infusions=3, notes_each=3, keys=KEYS)
    sync(taster.client, changes)
    refresh_development(lot.id, now=timezone.now())
    sync(taster.client, [change("session", session, at="2026-03-04T13:00:00Z", private=True)])
    assert refresh_development(lot.id, now=timezone.now())
    assert taster.client.get(f"/api/v1/lots/{lot.id}/development").json()["evidence"]["sessions"] == 0


@pytest.mark.django_db
def test_a_job_under_way_is_not_asked_for_again_until_it_is_taken_for_lost(taster, lexicon):
    brewed(taster.client, LotFactory(team=taster.team))
    asked_at = Development.objects.get().asked_at
    assert enqueue_due_lots(now=asked_at + timedelta(seconds=20)) == 0
    assert enqueue_due_lots(now=asked_at + timedelta(seconds=40)) == 1


@pytest.mark.django_db
def test_figures_of_an_older_method_are_due(taster, lexicon):
    lot = LotFactory(team=taster.team)
    brewed(taster.client, lot)
    refresh_development(lot.id, now=timezone.now())
    assert enqueue_due_lots(now=timezone.now()) == 0
    Development.objects.update(method="older")
    assert enqueue_due_lots(now=timezone.now()) == 1


@pytest.mark.django_db(transaction=True)
def test_two_jobs_for_one_lot_never_overlap():
    load_lexicon()
    who = person(TeamFactory(), "taster")
    lot = LotFactory(team=who.team)
    brewed(who.client, lot)
    other = connections["default"].copy()
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [f"development {lot.id}"])
            with other.cursor() as elsewhere:  # as a second worker would find it
                elsewhere.execute(
                    "SELECT pg_try_advisory_xact_lock(hashtextextended(%s, 0))", [f"development {lot.id}"]
                )
                assert elsewhere.fetchone() == (False,)
    finally:
        other.close()
    assert refresh_development(lot.id, now=timezone.now())


def forget_connections():
    """Let the next message to the broker open a connection of its own, to where the settings say by then."""
    pools.reset()
    current_app._pool = current_app.amqp._producer_pool = None


@pytest.mark.django_db(transaction=True)
def test_sync_answers_while_the_broker_is_down(monkeypatch):
    load_lexicon()
    who = person(TeamFactory(), "taster")
    lot = LotFactory(team=who.team)
    forget_connections()
    monkeypatch.setattr(current_app.conf, "broker_write_url", "redis://127.0.0.1:1/0")
    try:
        address = brewed(who.client, lot)
        assert who.client.get(address).json()["stale"]
        assert Development.objects.get(lot=lot).due_revision > 0
    finally:
        forget_connections()


def test_each_job_has_a_task_of_its_name():
    current_app.loader.import_default_modules()
    ours = {name for name in current_app.tasks if not name.startswith("celery.")}
    assert ours == {job.value for job in Job}


def test_marking_an_unknown_lot_costs_nothing(transactional_db):
    assert not refresh_development(uuid4(), now=timezone.now())
