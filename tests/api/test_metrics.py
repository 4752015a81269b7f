"""What a Prometheus server fetches, and who may fetch it.

The format is read with the parser of the reference client library.
"""

import os
import subprocess
import sys
from datetime import timedelta
from uuid import uuid4

import pytest
import redis
from celery import current_app
from django.conf import settings
from django.test import Client
from django.utils import timezone
from prometheus_client.parser import text_string_to_metric_families

from config.dev.home import ROOT
from tastings.job_metrics import _KEY, BOUNDS_S, count_job, job_metrics
from tastings.jobs import Job
from tastings.models import Development, Session
from tastings.queries.due import waiting
from tastings.queues import BrokerDown, Queue, queues
from tests.api.phone import change, sync
from tests.factories import LotFactory, SessionFactory

SECRET = "kept between the two of us"


def metric_text():
    """Return what is fetched."""
    answer = Client().get("/metrics")
    assert answer.status_code == 200
    return answer.content.decode()


def metric_values(*families):
    """Return the samples whose names begin so, of all families if none is given.

    The parser takes long, and a process that has answered many tests has a thousand samples of requests.
    """
    begin = tuple(f"{before}{family}" for family in families for before in ("", "# HELP ", "# TYPE "))
    return read("\n".join(line for line in metric_text().splitlines() if line.startswith(begin or "")))


def read(text):
    """Return every sample by its name and the values of its labels, in their order."""
    return {
        (one.name, *(one.labels[name] for name in sorted(one.labels))): one.value
        for family in text_string_to_metric_families(text)
        for one in family.samples
    }


def grown(before, after):
    """Return what is more in a later text than in an earlier one; only lines that differ are read."""
    earlier, later = (dict.fromkeys(text.splitlines()) for text in (before, after))
    was, now = (
        read("\n".join(line for line in lines if line not in others or line.startswith("#")))
        for lines, others in ((earlier, later), (later, earlier))
    )
    return {key: now[key] - was.get(key, 0) for key in now}


@pytest.fixture
def broker(db):
    """The broker's server, without jobs and counts."""
    client = redis.Redis.from_url(settings.REDIS_URL)
    names = [*(queue.value for queue in Queue), _KEY]
    client.delete(*names)
    yield client
    client.delete(*names)
    client.close()


@pytest.fixture
def no_broker(monkeypatch):
    monkeypatch.setattr(settings, "REDIS_URL", "redis://127.0.0.1:1/0")


def test_requests_are_counted_by_route_not_by_address(broker, taster):
    lot, before = LotFactory(team=taster.team), metric_text()
    answers = [taster.client.get(f"/api/v1/lots/{number}/").status_code for number in (lot.id, uuid4(), lot.id)]
    answers += [taster.client.get(f"/nowhere/{uuid4()}").status_code]
    answers += [taster.client.generic("BREW", "/api/v1/schema").status_code]
    found = grown(before, metric_text())
    requests = {key[1:]: n for key, n in found.items() if key[0] == "leafspan_requests_total" and "/metrics" not in key}
    timed = {key[1:]: n for key, n in found.items() if key[0] == "leafspan_request_seconds_count"}

    assert answers == [200, 404, 200, 404, 405]
    assert requests == {
        ("GET", "/api/v1/lots/<record_id>/", "200"): 2,
        ("GET", "/api/v1/lots/<record_id>/", "404"): 1,
        ("GET", "none", "404"): 1,
        ("other", "/api/v1/schema", "405"): 1,
    }
    assert timed["GET", "/api/v1/lots/<record_id>/"] == 3


def test_verdicts_are_counted_by_type_and_what_became_of_them(broker, taster):
    lot, before = uuid4(), metric_text()
    new = change("lot", lot, name="Far Terrace", kind="oolong")
    sync(taster.client, [new, change("lot", uuid4()), {"type": "teapot" * 9, "id": "x"}])
    sync(taster.client, [new])
    found = grown(before, metric_text())

    assert {key[1:]: n for key, n in found.items() if key[0] == "leafspan_sync_verdicts_total"} == {
        ("lot", "applied"): 1,
        ("lot", "refused"): 1,
        ("lot", "unchanged"): 1,
        ("other", "refused"): 1,
    }


def test_lots_due_and_since_when(broker, team, stranger):
    now = timezone.now()
    for of, minutes in ((team, 7), (team, 3), (stranger.team, 2)):
        session = SessionFactory(team=of, lot=LotFactory(team=of))
        Session.objects.filter(id=session.id).update(updated_at=now - timedelta(minutes=minutes))
        Development.objects.create(lot=session.lot, team=of, due_revision=session.revision)
    done = LotFactory(team=team)
    Development.objects.create(lot=done, team=team, due_revision=1, computed_revision=1)
    found = metric_values("leafspan_lots_due", "leafspan_teams_due")

    assert waiting(now=now).oldest_s == pytest.approx(7 * 60)
    assert (found["leafspan_lots_due",], found["leafspan_teams_due",]) == (3, 2)
    assert 420 <= found["leafspan_lots_due_oldest_seconds",] < 480


def test_nothing_due_has_no_age(broker):
    found = metric_values("leafspan_lots_due")
    assert (found["leafspan_lots_due",], found["leafspan_lots_due_oldest_seconds",]) == (0, 0)


def test_queues_tell_length_and_age(broker):
    for queue, n in ((Queue.FRESH, 1), (Queue.STEADY, 3)):
        for _ in range(n):
            current_app.send_task(Job.REFRESH_DEVELOPMENT.value, args=[str(uuid4())], queue=queue.value)
    found = queues(now=timezone.now() + timedelta(seconds=50))

    assert {queue: state.length for queue, state in found.items()} == {Queue.FRESH: 1, Queue.STEADY: 3}
    assert all(50 <= state.oldest_s < 80 for state in found.values())
    assert metric_values("leafspan_queue")["leafspan_queue_length", "steady"] == 3


def test_messages_of_another_form_have_no_age(broker):
    broker.lpush("fresh", b"{}", b"no message")
    assert queues(now=timezone.now())[Queue.FRESH].oldest_s == 0


def test_jobs_are_counted_by_name_and_outcome(broker):
    for outcome, seconds in (("done", 0.02), ("done", 0.3), ("failed", 1e4), ("killed", None)):
        count_job(Job.REFRESH_DEVELOPMENT.value, outcome=outcome, seconds=seconds)
    found, job = metric_values("leafspan_job"), Job.REFRESH_DEVELOPMENT.value

    assert {outcome: found["leafspan_jobs_total", job, outcome] for outcome in ("done", "failed", "killed")} == {
        "done": 2, "failed": 1, "killed": 1,
    }  # fmt: skip
    buckets = [found["leafspan_job_seconds_bucket", job, str(bound)] for bound in (0.01, 0.025, 0.25, 0.5, 120.0)]
    assert (buckets, found["leafspan_job_seconds_bucket", job, "+Inf"]) == ([0, 1, 1, 2, 2], 3)
    assert found["leafspan_job_seconds_sum", job] == pytest.approx(10_000.32)
    assert len(job_metrics()[job].buckets) == len(BOUNDS_S) + 1


def test_a_broker_that_is_down_leaves_its_part_out(db, no_broker):
    found = metric_values()
    assert (found["leafspan_up", "broker"], found["leafspan_up", "database"]) == (0, 1)
    assert found["leafspan_lots_due",] == 0
    assert not [key for key in found if key[0].startswith(("leafspan_queue", "leafspan_job"))]
    with pytest.raises(BrokerDown):
        count_job("tastings.prune", outcome="done", seconds=1.0)


@pytest.mark.parametrize(
    "seen",
    [
        {"REMOTE_ADDR": "192.0.2.7"},
        {"REMOTE_ADDR": "10.0.0.7"},
        {"REMOTE_ADDR": ""},
        {"HTTP_X_FORWARDED_FOR": "127.0.0.1"},
        {"HTTP_X_FORWARDED_PROTO": "https"},
        {"HTTP_FORWARDED": "for=192.0.2.7"},
        {"HTTP_VIA": "1.1 proxy"},
    ],
)
def test_without_a_secret_nobody_but_this_machine_reads(db, seen):
    answer, absent = (Client().get(address, **seen) for address in ("/metrics", "/nowhere"))
    assert (answer.status_code, answer.content) == (404, absent.content)


def test_without_a_secret_a_server_with_a_name_of_its_own_is_closed(db, settings):
    settings.ALLOWED_HOSTS = ["localhost", "leaf.example", "testserver"]
    assert Client().get("/metrics").status_code == 404


def test_a_secret_opens_from_anywhere_and_nothing_else_does(broker, settings):
    settings.ALLOWED_HOSTS = ["leaf.example", "testserver"]
    settings.METRICS_TOKEN = SECRET
    codes = [
        Client().get("/metrics", REMOTE_ADDR="192.0.2.7", headers=headers).status_code
        for headers in (
            {"authorization": f"Bearer {SECRET}"},
            {"authorization": f"bearer {SECRET} "},
            {"authorization": "Bearer wrong"},
            {"authorization": f"Basic {SECRET}"},
            {"authorization": "Bearer \u00e9"},
            {},
        )
    ]
    assert codes == [200, 200, 404, 404, 404, 404]
    assert Client().get("/metrics").status_code == 404  # not even from here


def test_the_secret_is_needed_although_pages_are_moved_to_https(broker, settings):
    settings.SECURE_SSL_REDIRECT, settings.METRICS_TOKEN = True, SECRET
    assert Client().get("/metrics", headers={"authorization": f"Bearer {SECRET}"}).status_code == 200
    assert Client().get("/metrics").status_code == 404
    assert Client().get("/lots/").status_code == 301


def test_it_is_only_read(broker):
    assert Client().post("/metrics").status_code == 405


COUNTED = """
import os, sys
import django
django.setup()
from api.operations.metrics import count_request
if os.fork() == 0:
    count_request(method="GET", route="/a", status=200, seconds=0.02)
    os._exit(0)
os.wait()
count_request(method="GET", route="/a", status=200, seconds=0.02)
count_request(method="POST", route="/b", status=201, seconds=3.0)
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.multiprocess import MultiProcessCollector
registry = CollectorRegistry()
MultiProcessCollector(registry)
sys.stdout.write(generate_latest(registry).decode())
"""


def test_processes_of_one_server_count_together_and_the_dead_are_not_forgotten(tmp_path):
    environment = {**os.environ, "PROMETHEUS_MULTIPROC_DIR": str(tmp_path), "DJANGO_SETTINGS_MODULE": "config.settings"}
    run = subprocess.run(
        [sys.executable, "-c", COUNTED], cwd=ROOT, env=environment, capture_output=True, text=True, check=True
    )
    found = read(run.stdout)
    assert {key: n for key, n in found.items() if key[0] == "leafspan_requests_total"} == {
        ("leafspan_requests_total", "GET", "/a", "200"): 2,
        ("leafspan_requests_total", "POST", "/b", "201"): 1,
    }
    assert found["leafspan_request_seconds_bucket", "0.025", "GET", "/a"] == 2
