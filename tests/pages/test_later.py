"""While the database is away, and after too many requests to pages, everyone is asked to come again later."""

import time
from itertools import count
from uuid import uuid4

import psycopg
import pytest
from django.db import IntegrityError, InterfaceError, OperationalError
from django.test import Client

from api.http.database_away import is_database_away
from api.http.throttles import requests_of
from teams.models import ResetRequest
from teams.postgresql.base import DatabaseWrapper
from tests.api.problems import refusal
from tests.factories import phone

HTML = {"Accept": "text/html"}
OTHER_HOSTS = count(200)
"""Last bytes of addresses that no other test here sends from."""


def operational(cause):
    error = OperationalError("message of the driver")
    error.__cause__ = cause
    return error


@pytest.mark.parametrize(
    ("error", "away"),
    [
        (operational(psycopg.OperationalError("connection refused")), True),
        (operational(psycopg.errors.AdminShutdown()), True),
        (operational(psycopg.errors.CannotConnectNow()), True),
        (operational(psycopg.errors.TooManyConnections()), True),
        (operational(psycopg.errors.ConnectionFailure()), True),
        (psycopg.errors.AdminShutdown(), True),
        (InterfaceError("connection already closed"), True),
        (operational(psycopg.errors.DeadlockDetected()), False),
        (operational(psycopg.errors.QueryCanceled()), False),
        (IntegrityError(), False),
        (ValueError(), False),
        (None, False),
    ],
)
def test_which_errors_say_that_the_database_is_away(error, away):
    assert is_database_away(error) is away


@pytest.fixture
def no_database(db, monkeypatch):
    def down(_database):
        raise operational(psycopg.errors.AdminShutdown())

    with monkeypatch.context() as patched:
        patched.setattr(DatabaseWrapper, "cursor", down)
        yield


def test_api_answers_503_with_a_problem_document_while_the_database_is_away(no_database):
    client = phone("any token")
    client.raise_request_exception = False
    answers = [client.get("/api/v1/lots/"), client.post("/api/v1/sync", {"schema": 1}), client.get("/lots/")]

    assert [refusal(answer) for answer in answers] == [(503, "unavailable", set())] * 3
    assert [answer["Retry-After"] for answer in answers] == ["5"] * 3


def test_browser_gets_a_page_that_needs_no_database(no_database):
    client = Client(raise_request_exception=False, headers=HTML | {"Accept-Language": "de"})
    client.cookies["sessionid"] = "of a browser that was signed in"
    answer = client.get("/lots/")

    assert (answer.status_code, answer["Retry-After"]) == (503, "5")
    assert answer["Content-Type"].startswith("text/html")
    assert "Database" not in answer.content.decode()


def test_other_errors_stay_500(db, monkeypatch):
    def broken(_database):
        raise operational(psycopg.errors.DeadlockDetected())

    client = phone("any token")
    client.raise_request_exception = False
    with monkeypatch.context() as patched:
        patched.setattr(DatabaseWrapper, "cursor", broken)
        answer = client.get("/api/v1/lots/")

    assert refusal(answer) == (500, "broken", set())


@pytest.fixture
def browser(taster):
    client = Client(headers=HTML)
    client.force_login(taster.user)
    return client


def test_pages_are_counted_with_the_requests_of_the_login(taster, buyer, browser, settings):
    settings.API_REQUESTS_PER_MINUTE = 3
    answers = [browser.get("/lots/").status_code for _ in range(2)]
    answers += [taster.client.get("/api/v1/me").status_code]
    refused = browser.get("/flights/")
    refused_program = taster.client.get("/api/v1/me")

    assert answers == [200] * 3
    assert (refused.status_code, refused["Content-Type"][:9]) == (429, "text/html")
    assert 0 < int(refused["Retry-After"]) <= 60
    assert refusal(refused_program) == (429, "throttled", set())
    assert buyer.client.get("/api/v1/me").status_code == 200


@pytest.fixture
def few_requests(db, settings, monkeypatch):
    """Two requests a minute, and a minute that does not end."""
    now = time.time()
    monkeypatch.setattr(requests_of, "_clock", lambda: now)
    settings.API_REQUESTS_PER_MINUTE = 2
    settings.TRUSTED_PROXIES = 1


@pytest.mark.parametrize("address", ["/sign-in/", "/shared/none/", "/api/v1/schema", "/api/v1/me", "/lots/"])
@pytest.mark.parametrize("authorization", ["nonsense", "Bearer made-up", "Basic eDp5"])
def test_token_that_is_not_valid_brings_no_allowance(few_requests, address, authorization):
    headers = {"X-Forwarded-For": f"203.0.113.{next(OTHER_HOSTS)}"}
    answers = [
        Client().get(address, headers=headers | {"Authorization": f"{authorization}{i}"}).status_code for i in range(3)
    ]

    assert [status == 429 for status in answers] == [False, False, True]


def test_request_beyond_the_limit_is_not_carried_out_whatever_token_comes_along(few_requests):
    headers = {"X-Forwarded-For": f"203.0.113.{next(OTHER_HOSTS)}", "Authorization": "Bearer made-up"}
    sent = {"path": "/api/v1/auth/reset", "data": {"username": "Lin"}, "content_type": "application/json"}

    assert [Client().post(**sent, headers=headers).status_code for _ in range(3)] == [202, 202, 429]
    assert ResetRequest.objects.count() == 2


def test_answers_that_are_stored_are_counted_too(few_requests, owner):
    sent = {"path": "/api/v1/shops/", "data": {"name": "Quay"}, "headers": {"Idempotency-Key": "first"}}

    assert [owner.client.post(**sent).status_code for _ in range(3)] == [201, 201, 429]


def test_reports_fetched_with_a_token_are_counted_with_the_requests_of_the_login(few_requests, taster):
    answers = [taster.client.get("/lots/none/report").status_code for _ in range(2)]
    refused = taster.client.get(f"/lots/{uuid4()}/report")
    refused_by_api = taster.client.get("/api/v1/me")

    assert 429 not in answers
    assert refusal(refused) == refusal(refused_by_api) == (429, "throttled", set())


@pytest.mark.parametrize(
    ("number", "address"),
    [(1, "/sign-in/"), (2, "/shared/none/"), (3, "/problems/invalid"), (4, "/api/v1/me"), (5, "/nowhere")],
)
def test_who_is_not_signed_in_is_counted_by_address(db, settings, number, address):
    settings.API_REQUESTS_PER_MINUTE = 2
    settings.TRUSTED_PROXIES = 1
    here, elsewhere = f"203.0.113.{number}", f"203.0.113.{100 + number}"
    # a made up session or port brings no new allowance
    froms = [(here, "a"), (f"{here}:4711", "b"), (f"{here}:4712", "c"), (elsewhere, "a")]
    answers = []
    for forwarded, session in froms:
        client = Client()
        client.cookies["sessionid"] = session
        answers.append(client.get(address, headers={"X-Forwarded-For": forwarded}).status_code == 429)

    assert answers == [False, False, True, False]
