"""Requests of one login in a minute, with and without the broker that counts them for all processes."""

import logging
import time
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from uuid import uuid4

import pytest
import redis

from api.http import throttles
from api.http.throttles import LEFT_ALONE_S, WINDOW_S, Counter
from teams.broker import broker_client
from tests.api.problems import refusal
from tests.factories import DeviceTokenFactory, MemberFactory, TeamFactory, phone

NOWHERE = "redis://127.0.0.1:1/0"
"""Port 1 is reserved for a service that nobody runs (IANA: tcpmux), so nothing answers."""


class Clock:
    """The time that a test says it is."""

    now = 1_000_000 * WINDOW_S

    def __call__(self):
        return self.now


@pytest.fixture
def clock(monkeypatch):
    made = Clock()
    monkeypatch.setattr(throttles.requests_of, "_clock", made)
    return made


def test_device_past_its_limit_waits_for_the_next_minute_and_others_do_not(taster, buyer, clock, settings):
    settings.API_REQUESTS_PER_MINUTE = 3
    clock.now += 20
    answers = [taster.client.get("/api/v1/me") for _ in range(4)]
    other = buyer.client.get("/api/v1/me")
    clock.now += 40
    after = taster.client.get("/api/v1/me")

    assert [answer.status_code for answer in answers] == [200, 200, 200, 429]
    assert refusal(answers[3]) == (429, "throttled", set())
    assert answers[3]["Retry-After"] == "40"
    assert (other.status_code, after.status_code) == (200, 200)


def test_first_requests_of_a_process_share_one_client_of_the_broker(db, settings, monkeypatch):
    """A client that was replaced closed the connection that another thread was reading, which was answered 500."""
    made, together = [], Barrier(4)

    def slow_client(url, **options):
        made.append(url)
        time.sleep(0.1)
        return broker_client(url, **options)

    monkeypatch.setattr(throttles, "broker_client", slow_client)
    counter = Counter(url=lambda: settings.REDIS_URL)

    def count(_):
        together.wait()
        return counter.count(f"login {uuid4()}")[0]

    with ThreadPoolExecutor(4) as threads:
        assert list(threads.map(count, range(4))) == [1, 1, 1, 1]
    assert len(made) == 1


def test_signing_in_again_brings_no_new_allowance(taster, clock, settings):
    settings.API_REQUESTS_PER_MINUTE = 4
    code = taster.client.post("/api/v1/auth/codes").json()["code"]
    signed_in = phone().post("/api/v1/auth/tokens", {"code": code, "device": "second"}).json()
    another = phone(signed_in["token"])
    elsewhere = DeviceTokenFactory(member=MemberFactory(team=TeamFactory(), user=taster.user), token="elsewhere")
    third = phone("elsewhere")

    answers = [client.get("/api/v1/me") for client in (taster.client, another, third, another, taster.client)]
    assert elsewhere.member.user == taster.user
    assert [answer.status_code for answer in answers] == [200, 200, 200, 429, 429]


def test_processes_count_together(db, settings):
    clock, key = Clock(), str(uuid4())
    counters = [Counter(url=lambda: settings.REDIS_URL, clock=clock) for _ in range(2)]

    assert [counters[n % 2].count(key) for n in range(4)] == [(1, 60), (2, 60), (3, 60), (4, 60)]
    with redis.Redis.from_url(settings.REDIS_URL) as client:
        lives_s = client.ttl(f"leafspan:requests:{key}:{clock.now // WINDOW_S}")
    assert 0 < lives_s <= 2 * WINDOW_S


def test_without_the_broker_a_process_counts_alone_and_asks_again_later(caplog):
    clock = Clock()
    urls = []
    counter = Counter(url=lambda: urls.append(clock.now) or NOWHERE, clock=clock)
    counter._client = None
    first = [counter.count("a") for _ in range(3)]
    asked = len([record for record in caplog.records if record.levelno == logging.WARNING])
    clock.now += LEFT_ALONE_S
    later = counter.count("a"), counter.count("b")
    clock.now += WINDOW_S

    assert [number for number, _ in first] == [1, 2, 3]
    assert asked == 1
    assert [number for number, _ in later] == [4, 1]
    assert len(caplog.records) == 2
    assert counter.count("a")[0] == 1


def test_api_answers_while_the_broker_is_away_and_still_limits(taster, settings, monkeypatch):
    settings.API_REQUESTS_PER_MINUTE = 2
    monkeypatch.setattr(throttles, "requests_of", Counter(url=lambda: NOWHERE, clock=Clock()))

    assert [taster.client.get("/api/v1/me").status_code for _ in range(3)] == [200, 200, 429]
