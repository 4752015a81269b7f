"""What a real worker does for those who wait: figures, documents, pictures."""

import time
from datetime import timedelta

import pytest
from celery import current_app
from django.utils import timezone

from tastings.actions.due import MIN_INTERVAL_S
from tastings.actions.lexicon import load_lexicon
from tastings.jobs import Job
from tastings.models import Development
from tests.api.phone import change, sync
from tests.factories import LotFactory, TeamFactory, person
from tests.sync.test_push import pot
from tests.tastings.photos.photographs import announce, on_disk, phone_photo, send, served
from tests.tastings.workers import ALONE, running_worker, wait_for

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Where photos lie."""
    return tmp_path_factory.mktemp("photos")


@pytest.fixture(scope="module")
def log(django_db_setup, tmp_path_factory, folder):
    """The log of a worker, which runs for all tests of this file."""
    log = tmp_path_factory.mktemp("worker") / "log"
    command = ("celery", "-A", "config", "worker", "--concurrency", "2", "--loglevel", "INFO", ALONE)
    with running_worker(log, *command, LEAFSPAN_PHOTOS=str(folder)) as worker:
        wait_for(lambda: current_app.control.ping(timeout=0.5, limit=1), worker=worker)
        yield log


@pytest.fixture
def who(transactional_db, log, settings, folder):
    """A taster; what waited for the worker from earlier tests is gone."""
    settings.PHOTOS_DIR, settings.PHOTOS_LEAVE_FREE_BYTES = folder, 0
    current_app.control.purge()
    load_lexicon()
    return person(TeamFactory(), "taster")


def test_figures_are_brought_up_to_date_a_burst_of_edits_is_gathered_and_what_was_lost_is_found(who, log):
    lot, before = LotFactory(team=who.team), log.read_text().count("succeeded in")
    session, changes = pot(lot.id, infusions=4, notes_each=3, keys=("strength", "sweetness", "honey"))
    began = time.monotonic()
    sync(who.client, changes)
    for i in range(10):
        sync(who.client, [change("session", session, at=f"2026-03-04T12:31:{i:02}Z", leaf_g=5 + i / 10)])
    address = f"/api/v1/lots/{lot.id}/development"
    wait_for(lambda: not who.client.get(address).json()["stale"])
    assert who.client.get(address).json()["evidence"]["infusions"] == 4
    wait_for(lambda: Development.objects.get(lot=lot).asked_at is None)
    n_intervals = (time.monotonic() - began) / MIN_INTERVAL_S  # the edits alone take longer on a busy machine
    assert 1 <= log.read_text().count("succeeded in") - before <= 2 + n_intervals

    # a lost message loses nothing: due and asked for long ago, but none exists, as after a broker that lost its queue
    Development.objects.filter(lot=lot).update(due_revision=10**6, asked_at=timezone.now() - timedelta(minutes=1))
    assert who.client.get(address).json()["stale"]
    current_app.send_task(Job.REFRESH_DUE.value)
    wait_for(lambda: not who.client.get(address).json()["stale"])
    assert who.client.get(address).json()["revision"] == 10**6


def test_documents_that_a_browser_waits_for_are_rendered(who):
    lot = LotFactory(team=who.team, by=who.user, name="Mist Ridge")
    for address in (f"/lots/{lot.id}/report.pdf", f"/lots/{lot.id}/card.pdf?lang=de"):
        wait_for(lambda address=address: who.client.get(address).status_code == 200)
        assert who.client.get(address).content[:5] == b"%PDF-"


def test_photos_that_are_complete_are_checked(who, folder):
    file = phone_photo()
    address, _ = announce(who, file, lot=str(LotFactory(team=who.team, by=who.user).id))
    assert send(who, address, file, 0).json()["state"] in ("checking", "kept")
    wait_for(lambda: who.client.get(address).json()["state"] == "kept")
    assert served(who, address)[1][:2] == b"\xff\xd8"
    wait_for(lambda: len(on_disk(folder)) == 2)  # the upload is deleted after the commit
