"""One team's thousand refits stand before nobody else's fresh tasting, and lots are shared among workers.

Nothing here looks at a clock: what counts is how many jobs are done before the one that someone waits for. How long
that takes is told by `benchmarks.drain`.
"""

import signal
from contextlib import contextmanager, suppress
from datetime import timedelta
from threading import Thread
from uuid import UUID

import pytest
from celery import current_app
from django.core.signals import request_finished
from django.db import connection, connections, transaction
from django.utils import timezone

from api.sync.sync import AnswerThenJobs
from tastings.actions import due
from tastings.actions.developments import refresh_development
from tastings.actions.due import MAX_FRESH, MAX_STEADY, enqueue_due_lots, enqueue_next, mark_due
from tastings.actions.lexicon import load_lexicon
from tastings.jobs import Job, delayed_jobs
from tastings.maths.curve.development import METHOD
from tastings.models import Development
from tastings.queues import Queue
from tests.api.phone import sync
from tests.factories import LotFactory, TeamFactory, person
from tests.sync.test_push import pot
from tests.tastings.workers import running_worker, wait_for

MOST = MAX_STEADY + MAX_FRESH


class Messages:
    """What was asked for and not taken, as the broker would hold it."""

    def __init__(self):
        self.waiting = {queue: [] for queue in Queue}

    def send_task(self, name, *, args, queue, **_):
        if name == Job.REFRESH_DEVELOPMENT.value:
            self.waiting[Queue(queue)].append(UUID(args[0]))

    def take(self):
        """Return the next lot, as a worker would: the fresh ones first, each queue in its order."""
        return next((waiting.pop(0) for waiting in self.waiting.values() if waiting), None)

    def of(self, queue):
        return len(self.waiting[queue])


@pytest.fixture
def messages(monkeypatch):
    sent = Messages()
    application = type(current_app._get_current_object())
    monkeypatch.setattr(application, "send_task", lambda self, name, **given: sent.send_task(name, **given))
    return sent


@pytest.fixture
def committed(django_capture_on_commit_callbacks):
    """Run something and what follows its commit."""

    @contextmanager
    def run():
        with django_capture_on_commit_callbacks(execute=True):
            yield

    return run


def lots_of(team, n):
    return [LotFactory(team=team).id for _ in range(n)]


def behind(team, n):
    """Make so many lots that nobody has asked for yet, as a restore leaves them; return their ids."""
    made = lots_of(team, n)
    Development.objects.bulk_create(
        Development(lot_id=lot, team=team, due_revision=i + 1) for i, lot in enumerate(made)
    )
    return made


def under_way(team):
    return Development.objects.filter(team=team, asked_at__isnull=False).count()


def test_many_edits_are_enqueued_a_few_at_a_time(team, messages, committed):
    lots = lots_of(team, 3 * MOST)
    with committed():
        mark_due(team.id, lots, revision=5, now=timezone.now())
    assert (messages.of(Queue.FRESH), messages.of(Queue.STEADY)) == (MOST, 0)
    with committed():
        mark_due(team.id, lots_of(team, 2), revision=6, now=timezone.now())
    assert messages.of(Queue.FRESH) == MOST
    assert Development.objects.filter(team=team, due_revision__gt=0).count() == len(lots) + 2  # all are marked


def test_a_sync_sends_its_jobs_after_its_answer_and_at_once_when_it_fails(team, messages, committed, monkeypatch):
    monkeypatch.setattr(request_finished, "send", lambda **_: [])  # it would close the test's connection

    def push_one():
        with committed():
            mark_due(team.id, lots_of(team, 1), revision=5, now=timezone.now())

    with delayed_jobs() as jobs:
        push_one()
    answer = AnswerThenJobs(b"{}", jobs=jobs)
    assert messages.of(Queue.FRESH) == 0
    answer.close()
    assert messages.of(Queue.FRESH) == 1
    with suppress(KeyError), delayed_jobs():
        push_one()
        raise KeyError
    push_one()
    assert messages.of(Queue.FRESH) == 3


def test_a_team_in_the_midst_of_its_refits_has_room_for_a_fresh_edit(team, messages, committed):
    behind(team, 50)
    with committed():
        enqueue_due_lots(now=timezone.now())
    [edited] = lots_of(team, 1)
    with committed():
        mark_due(team.id, [edited], revision=99, now=timezone.now())
    assert (messages.of(Queue.STEADY), messages.waiting[Queue.FRESH]) == (MAX_STEADY, [edited])


def test_each_team_has_at_most_its_limit(team, stranger, messages, committed):
    third = TeamFactory()
    for of, n in ((team, 100), (stranger.team, 20), (third, 3)):
        behind(of, n)
    for _ in range(3):
        with committed():
            enqueue_due_lots(now=timezone.now())
    assert [under_way(of) for of in (team, stranger.team, third)] == [MAX_STEADY, MAX_STEADY, 3]
    assert messages.of(Queue.FRESH) == 0


def test_teams_take_turns_when_there_is_not_room_for_all(messages, committed, monkeypatch, db):
    monkeypatch.setattr(due, "MAX_RUNNING", 6)
    teams = [TeamFactory() for _ in range(3)]
    for of in teams:
        behind(of, 10)
    with committed():
        assert enqueue_due_lots(now=timezone.now()) == 6
    assert [under_way(of) for of in teams] == [2, 2, 2]
    with committed():
        assert enqueue_due_lots(now=timezone.now()) == 0


def test_the_longest_edited_comes_first_and_an_older_method_last(team, messages, committed):
    old, *edited = behind(team, MAX_STEADY + 2)
    Development.objects.filter(lot_id=old).update(computed_revision=1, due_revision=1, method="older")
    with committed():
        enqueue_next(team.id, now=timezone.now())
    assert messages.waiting[Queue.STEADY] == edited[:MAX_STEADY]
    Development.objects.filter(lot_id__in=edited).update(
        computed_revision=99, due_revision=99, asked_at=None, method=METHOD
    )
    with committed():
        assert enqueue_next(team.id, now=timezone.now()) == 1
    assert messages.waiting[Queue.STEADY][-1] == old


def test_what_was_lost_gives_its_place_back(team, messages, committed):
    behind(team, 30)
    now = timezone.now()
    with committed():
        assert enqueue_due_lots(now=now) == MAX_STEADY
        assert enqueue_due_lots(now=now + timedelta(seconds=20)) == 0
        assert enqueue_due_lots(now=now + timedelta(seconds=40)) == MAX_STEADY


def test_jobs_ask_for_the_next_until_all_is_done(team, lexicon, messages, committed):
    lots = behind(team, 3 * MAX_STEADY)
    with committed():
        enqueue_due_lots(now=timezone.now())
    done, most = [], 0
    while (lot := messages.take()) is not None:
        most = max(most, under_way(team))
        with committed():
            assert refresh_development(lot, now=timezone.now())
        done.append(lot)
    assert sorted(done) == sorted(lots)
    assert most == MAX_STEADY


def test_few_jobs_stand_before_a_fresh_tasting_while_another_team_drains_and_floods(
    team, stranger, messages, committed
):
    behind(team, 120)
    with committed():
        enqueue_due_lots(now=timezone.now())
        mark_due(team.id, lots_of(team, 60), revision=500, now=timezone.now())
    for _ in range(5):  # the workers are at it
        with committed():
            refresh_development(messages.take(), now=timezone.now())
    [fresh] = lots_of(stranger.team, 1)
    with committed():
        mark_due(stranger.team.id, [fresh], revision=1, now=timezone.now())
    before = 0
    while (lot := messages.take()) != fresh:
        before += 1
        with committed():
            refresh_development(lot, now=timezone.now())
            mark_due(team.id, lots_of(team, 1), revision=600 + before, now=timezone.now())  # and it goes on
    assert before <= MOST


@pytest.mark.django_db(transaction=True)
def test_workers_share_lots_without_doing_one_twice():
    load_lexicon()
    who = person(TeamFactory(), "taster")
    lots = lots_of(who.team, 6)
    for lot in lots:
        sync(who.client, pot(lot, infusions=3, notes_each=2, keys=("strength", "honey"))[1])
    done, faults = [], []

    def work():
        try:
            done.extend(lot for lot in lots if refresh_development(lot, now=timezone.now()))
        except Exception as error:  # noqa: BLE001 - told below
            faults.append(error)
        finally:
            connections.close_all()

    threads = [Thread(target=work) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    assert sorted(done) == sorted(lots)


@pytest.mark.django_db(transaction=True)
def test_a_worker_empties_the_fresh_queue_first_and_when_it_stops_finishes_its_job_and_leaves_the_others(tmp_path):
    current_app.control.purge()
    load_lexicon()
    who = person(TeamFactory(), "taster")
    first, second = lots_of(who.team, 2)
    for lot in (first, second):
        sync(who.client, pot(lot, infusions=3, notes_each=2, keys=("strength", "honey"))[1])
    current_app.control.purge()
    for job, queue in ((Job.DUE_PHOTOS, "steady"),) * 5 + ((Job.DUE_RESETS, "fresh"),) * 5:
        current_app.send_task(job.value, queue=queue)
    log = tmp_path / "log"
    with running_worker(log) as worker:
        wait_for(lambda: log.read_text().count("succeeded in") == 10, worker=worker)
        ended = [line for line in log.read_text().splitlines() if "succeeded in" in line]
        assert [Job.DUE_RESETS.value in line for line in ended] == [True] * 5 + [False] * 5

        with transaction.atomic():
            Development.objects.select_for_update().get(lot_id=first)  # the job must wait for us at its end
            current_app.send_task(Job.REFRESH_DEVELOPMENT.value, args=[str(first)])
            wait_for(waits_for_lock, worker=worker)
            current_app.send_task(Job.REFRESH_DEVELOPMENT.value, args=[str(second)])
            worker.send_signal(signal.SIGTERM)
            wait_for(lambda: "Warm shutdown" in log.read_text(), worker=worker)
            assert worker.poll() is None
        assert worker.wait(timeout=300) == 0
    done = dict(Development.objects.values_list("lot_id", "computed_revision"))
    assert (done[first] > 0, done[second]) == (True, 0)
    current_app.control.purge()


def waits_for_lock():
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM pg_locks WHERE NOT granted")
        return cursor.fetchone()[0] > 0
