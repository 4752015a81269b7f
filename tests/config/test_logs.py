"""Log lines: which fields of a request or job they have, and what they leave out."""

import asyncio
import io
import json
import logging
from uuid import uuid4

import pytest
from celery import current_app
from django.db import IntegrityError, connection, transaction
from django.test import Client

from api.http.context import log_context
from api.http.requests import HEADER, id_for
from api.operations.health import Health
from config.job_context import add_headers, begin_job, end_job
from config.logs import JsonLines, Lines, log_settings
from tastings.jobs import Job, later
from tastings.queues import Queue
from tests.config.asgi import AsgiRequest
from tests.factories import LotFactory, phone
from tests.tastings.workers import ALONE, running_worker, wait_for

MADE = "0123456789abcdef"


@pytest.fixture
def log_lines():
    """What the root logger writes, in either form, while the test runs."""
    streams = {Lines: io.StringIO(), JsonLines: io.StringIO()}
    handlers = []
    for form, stream in streams.items():
        handlers.append(handler := logging.StreamHandler(stream))
        handler.setFormatter(form())
        logging.getLogger().addHandler(handler)
    yield lambda form=JsonLines: streams[form].getvalue().splitlines()
    for handler in handlers:
        logging.getLogger().removeHandler(handler)


def objects(log_lines):
    return [json.loads(line) for line in log_lines()]


@pytest.mark.parametrize("sent", ["a" * 8, "A-b.c_9" * 9, "0198c0de-0000-7000-8000-000000000000"])
def test_a_sane_id_is_kept(db, sent):
    assert id_for(sent) == sent
    assert phone().get("/api/v1/me", headers={HEADER: sent})[HEADER] == sent


@pytest.mark.parametrize("sent", [None, "", "short", "a" * 65, "with space", "line\nbreak", 'quo"te"s', "ümlaut-id"])
def test_any_other_is_made_anew(sent):
    made = {id_for(sent) for _ in range(3)}
    assert len(made) == 3
    assert all(len(one) == 32 and one.isalnum() for one in made)


def test_an_answer_that_no_view_made_has_an_id_too(db):
    answers = [Client().get("/nowhere"), Client().get("/lots/"), Client(SERVER_NAME="elsewhere").get("/lots/")]
    assert [answer.status_code for answer in answers] == [404, 401, 400]
    assert len({answer[HEADER] for answer in answers}) == 3


def test_request_is_logged_with_its_team_and_without_its_address(taster, log_lines):
    lot = LotFactory(team=taster.team)
    taster.client.get(f"/api/v1/lots/{lot.id}/?honey", headers={HEADER: MADE})
    [line] = [one for one in objects(log_lines) if one["logger"] == "api.http.requests"]
    ms, moment = line.pop("ms"), line.pop("time")

    assert line == {
        "level": "info", "logger": "api.http.requests", "message": "GET /api/v1/lots/<record_id>/ 422",
        "request": MADE, "team": str(taster.team.id), "method": "GET", "route": "/api/v1/lots/<record_id>/",
        "status": 422,
    }  # fmt: skip
    assert 0 < ms < 60_000
    assert moment.endswith("Z")
    assert taster.token not in "".join(log_lines(Lines)) + "".join(log_lines())


def test_secret_links_stay_out_of_the_log(db, log_lines):
    token = "s3cret-of-a-link" * 3
    for address in (f"/join/{token}/", f"/reset/{token}/", f"/s/{token}/", f"/join/{token}/?next={token}"):
        Client().get(address)
    Client(enforce_csrf_checks=True).post(f"/join/{token}/", {"username": "x"})
    assert len(log_lines()) > 5
    assert token not in "".join(log_lines(Lines)) + "".join(log_lines())


def test_requests_of_machines_are_logged_only_when_refused(db, log_lines):
    async def health():
        for method in ("GET", "POST"):
            await AsgiRequest(Health(), "/health/live", method=method).answer()

    Client().get("/metrics")
    Client().post("/metrics")
    asyncio.run(health())
    loggers = ("api.http.requests", "api.http.loop_answers")
    assert [one["status"] for one in objects(log_lines) if one["logger"] in loggers] == [405, 405]


def test_crash_is_logged_by_type_and_place_without_the_message_of_the_database(db, log_lines):
    def refuse():
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SELECT count(*) FROM teams_user")
            cursor.execute("CREATE TEMP TABLE sayings (line text CONSTRAINT line_once UNIQUE)")
            cursor.execute("INSERT INTO sayings VALUES ('bitter like regret'), ('bitter like regret')")

    try:
        refuse()
    except IntegrityError as error:
        logging.getLogger("tastings").exception("lot %s: no figures", 7)
        logging.getLogger("tastings").warning("it said: %s", error)
    first, second = objects(log_lines)

    assert (first["message"], first["level"], first["error"]["type"]) == (
        "lot 7: no figures",
        "error",
        "IntegrityError",
    )
    assert first["error"]["cause"]["constraint_name"] == "line_once"
    assert first["error"]["cause"]["sqlstate"] == "23505"  # unique_violation: PostgreSQL manual, appendix A
    assert any("test_logs.py" in frame and "refuse" in frame for frame in first["error"]["where"])
    assert second["message"] == "it said: IntegrityError"
    assert "regret" not in "".join(log_lines())
    assert "regret" in "".join(log_lines(Lines))  # for the person at the terminal


def test_failing_view_is_logged_once_with_its_request(db, log_lines, monkeypatch):
    def broken(*_, **__):
        raise RuntimeError("honey and regret")

    monkeypatch.setattr("api.operations.metrics.generate_latest", broken)
    client = Client(raise_request_exception=False)
    assert client.get("/metrics?note=honey", headers={HEADER: MADE}).status_code == 500
    crash, line = objects(log_lines)
    assert (crash["error"]["type"], crash["request"], crash["message"]) == (
        "RuntimeError", MADE, "Internal Server Error: /metrics",
    )  # fmt: skip
    assert (line["status"], line["request"]) == (500, MADE)
    assert "honey" not in "".join(log_lines())


def test_an_object_is_one_line_whatever_is_in_it(log_lines):
    with log_context(lambda: {"request": MADE}):
        logging.getLogger("x").warning("two\nlines “%s”", "\u2028")
    [line] = log_lines()
    assert json.loads(line)["message"] == "two\nlines “\u2028”"


def test_only_two_forms_are_known():
    with pytest.raises(ValueError, match="LEAFSPAN_LOGS"):
        log_settings("yaml")
    assert log_settings("")["formatters"]["chosen"]["form"] == ""


def test_message_carries_team_and_request(db, django_capture_on_commit_callbacks, monkeypatch):
    sent = []
    monkeypatch.setattr(
        type(current_app._get_current_object()), "send_task", lambda self, name, **given: sent.append((name, given))
    )
    with django_capture_on_commit_callbacks(execute=True):
        later(Job.PRUNE, team=(team := uuid4()), queue=Queue.STEADY)
    headers = dict(sent[0][1]["headers"])
    with log_context(lambda: {"request": MADE, "team": "another"}):
        add_headers(headers=headers)
    assert {name: headers[name] for name in ("team", "request")} == {"team": str(team), "request": MADE}
    assert sent[0][1]["queue"] == "steady"


@pytest.mark.parametrize("form", ["json", "lines"])
def test_worker_logs_job_team_and_request(db, tmp_path, form):
    current_app.control.purge()
    current_app.send_task(Job.DUE_PHOTOS.value, headers={"team": "of-somebody", "request": MADE})
    log, command = tmp_path / "log", ("celery", "--quiet", "-A", "config", "worker", "--concurrency", "1", ALONE)
    # without the warning about root, which comes before logging is set up
    with running_worker(log, *command, LEAFSPAN_LOGS=form, PYTHONWARNINGS="ignore") as worker:
        wait_for(lambda: Job.DUE_PHOTOS.value in log.read_text(), worker=worker)
    job_line = next(line for line in log.read_text().splitlines() if Job.DUE_PHOTOS.value in line)
    if form == "json":
        found = json.loads(job_line)
        assert (found["job"], found["team"], found["request"]) == (Job.DUE_PHOTOS.value, "of-somebody", MADE)
        assert len(found["job_id"]) == 36
        assert found["seconds"] > 0
        assert all(json.loads(line)["level"] for line in log.read_text().splitlines() if line)
    else:
        assert "succeeded in" in job_line
        assert f"request={MADE} team=of-somebody" in job_line


def test_log_context_of_a_job_ends_with_it(log_lines):
    class Task:
        name = "tastings.prune"
        request = type("Request", (), {"request": MADE})()

    begin_job(task_id="7", task=Task)
    logging.getLogger("x").info("inside")
    end_job(task_id="7", task=Task, state="SUCCESS")
    logging.getLogger("x").info("outside")
    inside, outside = (one for one in objects(log_lines) if one["logger"] == "x")
    assert (inside["job"], inside["job_id"], inside["request"]) == ("tastings.prune", "7", MADE)
    assert "job" not in outside
