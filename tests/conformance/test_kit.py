"""The conformance kit: the server answers as recorded, the reference phone and the app do as recorded."""

import json
import shutil
import subprocess
from pathlib import Path

import pytest
from django.db.models import F
from django.test import Client
from django.utils import timezone

from api.http import throttles
from config.dev.home import ROOT
from config.quotas import DEFAULTS
from table.phone import Response
from tastings.actions.flights.planning import plan_flight
from tastings.models import Flight
from teams.actions.counters import random_beginning
from tests.conformance.cases import CASES, OF_INSTALLATION, QUOTAS, REQUESTS_A_MINUTE
from tests.conformance.kit import as_recorded, files, replay_phone
from tests.factories import DeviceTokenFactory, MemberFactory, ShopFactory, TeamFactory
from tests.table.javascript_phone import NODE

NAMES = [file.stem for file in files()]
RUNNER = Path(__file__).with_name("app.mjs")


def recording(name):
    [file] = [file for file in files() if file.stem == name]
    return json.loads(file.read_text("utf-8"))


def answers_of(case):
    return [
        exchange["answer"] for step in case["steps"] for exchange in step.get("exchanges", ()) if exchange["answer"]
    ]


class InProcess:
    """The application in this process."""

    def send(self, method, path, *, headers, body):
        """Carry one request."""
        kind = headers.get("Content-Type", "")
        answer = Client().generic(method, path, data=body or b"", content_type=kind, headers=headers)
        return Response(answer.status_code, {k.lower(): v for k, v in answer.headers.items()}, answer.getvalue())

    def new_team(self, *roles):
        """Make a team."""
        beginning = random_beginning()
        team = TeamFactory(revision=beginning, first_revision=beginning)
        shop = ShopFactory(team=team)
        people = [MemberFactory(team=team, shop=shop, role=role) for role in ("owner", *roles)]
        for one in people[1:]:
            DeviceTokenFactory(member=one, token=f"of {one.user_id}")
        return [(f"of {one.user_id}", str(one.user_id)) for one in people[1:]]

    def work(self):
        """Make the plans that are wanted."""
        for flight in Flight.objects.filter(plan_made__lt=F("plan_wanted")):
            plan_flight(flight.id, now=timezone.now())


@pytest.fixture
def server(db, lexicon, settings, monkeypatch):
    settings.QUOTAS = {**DEFAULTS, **QUOTAS}
    settings.API_REQUESTS_PER_MINUTE = REQUESTS_A_MINUTE
    monkeypatch.setattr(throttles.requests_of, "_clock", lambda: 1_700_000_000.0)
    return InProcess()


def test_every_case_is_recorded():
    assert set(NAMES) == {*CASES, *OF_INSTALLATION}


@pytest.mark.parametrize("name", CASES)
def test_server_answers_as_recorded(server, name):
    play = CASES[name]

    assert as_recorded(play(server), about=str(play.__doc__)) == recording(name)


@pytest.mark.parametrize("name", NAMES)
def test_reference_phone_does_as_recorded(name):
    replay_phone(recording(name))


def test_recordings_have_every_verdict_and_every_status_of_the_guide():
    answers = [answer for name in NAMES for answer in answers_of(recording(name))]
    verdicts = [verdict for answer in answers for verdict in answer.get("body", {}).get("verdicts", ())]
    codes = {problem["code"] for verdict in verdicts for problem in verdict["problems"]}

    assert {verdict["verdict"] for verdict in verdicts} == {"applied", "merged", "unchanged", "refused"}
    assert {answer["status"] for answer in answers} == {200, 201, 401, 409, 410, 413, 429, 503, 507}
    assert codes == {"unknown_parent", "parent_deleted", "not_yours", "quota", "range"}


def run_app(folder, *cases):
    """Run the app through files of the kit; return the lines it prints about what differs."""
    shutil.copytree(ROOT / "table" / "static" / "table", folder / "app")
    (folder / "app" / "package.json").write_text('{"type": "module"}')
    command = [str(NODE), str(RUNNER), str(folder / "app"), *map(str, cases)]
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout.splitlines()


def test_app_does_as_recorded(tmp_path):
    assert run_app(tmp_path, *files()) == []


def test_app_that_knows_something_else_is_noticed(tmp_path):
    altered = recording("merged")
    altered["steps"][-1]["pulled"] = {}
    (tmp_path / "altered.json").write_text(json.dumps(altered))

    [line] = run_app(tmp_path, tmp_path / "altered.json")
    assert f"step {len(altered['steps']) - 1}" in line


def test_phone_that_knows_something_else_is_noticed():
    altered = recording("unknown_parent")
    altered["steps"][3]["unsent"] = []

    with pytest.raises(AssertionError):
        replay_phone(altered)
