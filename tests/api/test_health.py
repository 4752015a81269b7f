"""Live needs nothing; ready needs a database and a worker, and names which is missing; neither takes a thread."""

import asyncio
from threading import Event

import pytest
from django.db.utils import OperationalError

from api.operations import health
from teams.postgresql.base import DatabaseWrapper
from tests.config.asgi import AsgiRequest


def asked(path, *, method="GET", times=1):
    """Return the answers to requests that are made at the same moment."""

    async def scene():
        app = health.Health()
        requests = [AsgiRequest(app, path, method=method) for _ in range(times)]
        return [await request.answer() for request in requests]

    return asyncio.run(scene())


def test_live_needs_no_database():
    [answer] = asked("/health/live")  # no database mark: a query would fail the test

    assert (answer.status, answer.json()) == (200, {"live": True})
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert len(answer.headers["x-request-id"]) == 32


@pytest.mark.django_db(transaction=True)
def test_ready_without_a_worker_names_it():
    [answer] = asked("/health/ready")

    assert (answer.status, answer.json()) == (503, {"ready": False, "database": True, "worker": False})


@pytest.mark.django_db(transaction=True)
def test_ready_with_a_worker(monkeypatch):
    monkeypatch.setattr(health, "worker_answers", lambda: True)
    [answer] = asked("/health/ready")

    assert (answer.status, answer.json()) == (200, {"ready": True, "database": True, "worker": True})


def test_ready_without_a_database_names_it(monkeypatch):
    def down(_database):
        raise OperationalError("connection refused")

    monkeypatch.setattr(DatabaseWrapper, "cursor", down)
    [answer] = asked("/health/ready")

    assert (answer.status, answer.json()) == (503, {"ready": False, "database": False, "worker": False})


def test_all_who_ask_at_once_get_one_answer(monkeypatch):
    asked_for = []

    def check():
        asked_for.append(1)
        return {"database": True, "worker": True}

    monkeypatch.setattr(health, "check_readiness", check)
    answers = asked("/health/ready", times=50)

    assert {answer.status for answer in answers} == {200}
    assert len(asked_for) == 1


def test_servers_that_do_not_answer_count_as_missing_and_live_goes_on(monkeypatch):
    answered = Event()

    def check():
        answered.wait(timeout=60)
        return {"database": True, "worker": True}

    monkeypatch.setattr(health, "check_readiness", check)
    monkeypatch.setattr(health, "PATIENCE_S", 0.2)

    async def scene():
        app = health.Health()
        ready = AsgiRequest(app, "/health/ready")
        live = await AsgiRequest(app, "/health/live").answer()
        assert ready.status is None
        found = live.status, (await ready.answer()).json()
        answered.set()
        return found

    assert asyncio.run(scene()) == (200, {"ready": False, "database": False, "worker": False})


def test_health_takes_no_writes():
    answers = [asked(f"/health/{name}", method="POST")[0] for name in ("live", "ready")]

    assert [(answer.status, answer.headers["allow"]) for answer in answers] == [(405, "GET, HEAD")] * 2
    assert answers[0].json()["type"] == "/problems/method-not-allowed"


def test_head_has_no_body():
    [answer] = asked("/health/live", method="HEAD")

    assert (answer.status, answer.body) == (200, b"")
