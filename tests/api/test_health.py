"""Alive needs nothing; ready needs a database and a worker, and says which is missing."""

from django.db import connection
from django.db.utils import OperationalError

from tests.factories import phone


def test_live_needs_no_database():
    response = phone().get("/health/live")  # no database mark: a query would fail the test

    assert (response.status_code, response.json()) == (200, {"live": True})


def test_ready_without_a_worker_names_it(db):
    response = phone().get("/health/ready")

    assert (response.status_code, response.json()) == (503, {"ready": False, "database": True, "worker": False})


def test_ready_without_a_database_names_it(db, monkeypatch):
    def down():
        raise OperationalError("connection refused")

    with monkeypatch.context() as patched:
        patched.setattr(connection, "cursor", down)
        response = phone().get("/health/ready")

    assert (response.status_code, response.json()) == (503, {"ready": False, "database": False, "worker": False})


def test_health_takes_no_writes(db):
    assert [phone().post(f"/health/{name}").status_code for name in ("live", "ready")] == [405, 405]
