"""``manage.py admin``: Django's admin over the whole installation, for operators; it shows and changes nothing."""

import importlib
import re
import subprocess
import sys
from http.cookiejar import CookieJar
from urllib.error import HTTPError, URLError
from urllib.parse import urlencode
from urllib.request import HTTPCookieProcessor, build_opener

import psycopg
import pytest
from django.apps import apps
from django.db import connection
from psycopg.errors import ReadOnlySqlTransaction

from config.dev.home import ROOT
from config.dev.process import free_port
from tastings.audit_events import TastingEvent
from tastings.models import Development
from teams.actions.audit import record_event
from teams.models import AuditEvent
from tests.config.launching import eventually
from tests.factories import NOON, DeviceTokenFactory, FlightFactory, MemberFactory, NoteFactory
from tests.tastings.workers import environment_on_test_servers

BELONGS_TO_A_TEAM = {
    "lots.fieldhistory", "lots.lot", "tastings.descriptor", "tastings.flightcup", "tastings.flightlot",
    "tastings.flightmember", "tastings.infusion", "tastings.note", "tastings.pot", "tastings.session",
    "tastings.teamlogo", "tastings.trial", "tastings.triangletaster", "tastings.triangletest",
}  # fmt: skip
"""Tables of what was tasted and written, which no operator needs to see."""
HOLDS_SECRETS = {"teams.attemptcount", "teams.knownclient", "teams.signincode", "teams.storedanswer"}
"""Tables of digests and of answers to others."""


class Reader:
    """A browser without a script."""

    def __init__(self, origin):
        self._origin, self._opener = origin, build_opener(HTTPCookieProcessor(CookieJar()))

    def answers(self):
        """Whether the server answers at all."""
        try:
            return self.open("/") is not None
        except URLError:
            return False

    def open(self, path, **form):
        """Return status and text of a page; ``form`` is posted."""
        try:
            with self._opener.open(self._origin + path, urlencode(form).encode() if form else None) as answer:
                return answer.status, answer.read().decode()
        except HTTPError as refusal:
            with refusal:
                return refusal.code, refusal.read().decode()


@pytest.fixture(scope="module")
def printed(django_db_setup):
    """The origin and the path that the command prints, which runs meanwhile."""
    command = [sys.executable, "manage.py", "admin", "--port", str(free_port())]
    started = subprocess.Popen(command, cwd=ROOT, env=environment_on_test_servers(), stdout=subprocess.PIPE, text=True)
    origin, path = re.search(r"(http://127\.0\.0\.1:\d+)(/\S+)", started.stdout.readline()).groups()
    assert eventually(Reader(origin).answers)
    yield origin, path
    started.terminate()
    started.communicate(timeout=300)


def tables(index):
    """Return the paths of the tables that the first page names."""
    return sorted(set(re.findall(r'href="(/[a-z]+/[a-z]+/)"', index)))


def test_only_the_link_opens_it(printed, db):
    reader = Reader(printed[0])
    for path in ("/login/?code=wrong", "/", "/teams/team/", "/login/", "/logout/"):
        status, text = reader.open(path)
        assert (status, "Kettle" in text, "Tables" in text) == (403, False, False)
    assert reader.open(printed[1])[0] == reader.open("/")[0] == 200
    assert reader.open("/logout/")[0] == reader.open("/")[0] == 403


def test_operators_see_every_other_table_and_no_secret_nor_tasting(printed, transactional_db):
    note = NoteFactory(text="hay after rain")
    lot, user = note.session.lot, note.session.taster
    Development.objects.create(lot=lot, team=lot.team)
    FlightFactory(team=lot.team, by=user)
    token = DeviceTokenFactory(member=MemberFactory(user=user, team=lot.team))
    for event in (AuditEvent.SIGN_IN, TastingEvent.LOT_EDITED):
        record_event(team=lot.team_id, login=user.id, event=event, about={"about_it": f"of {event}"}, now=NOON)

    reader = Reader(printed[0])
    status, index = reader.open(printed[1])
    assert status == 200
    shown = {path.strip("/").replace("/", ".") for path in tables(index)}
    ours = {
        model._meta.label_lower
        for room in ("lots", "teams", "tastings")
        for model in apps.get_app_config(room).get_models()
    }
    assert shown | BELONGS_TO_A_TEAM | HOLDS_SECRETS == ours
    assert not shown & (BELONGS_TO_A_TEAM | HOLDS_SECRETS)

    pages = {path: reader.open(path) for path in tables(index)}
    rows = {row for path, (_, text) in pages.items() for row in re.findall(rf'href="({path}[^"/]+/change/)', text)}
    pages |= {row: reader.open(row) for row in rows}
    assert {status for status, _ in pages.values()} == {200}
    with_rows = {"team", "shop", "user", "member", "devicetoken", "auditentry", "development", "flight"}
    assert {row.split("/")[2] for row in rows} >= with_rows
    everything = "".join(text for _, text in pages.values())
    for visible in (lot.team.name, user.username, token.device, "of sign_in"):
        assert visible in everything
    for hidden in (token.digest, user.password, lot.name, note.text, "of lot_edited"):
        assert hidden
        assert hidden not in everything

    for row in rows:
        token_of_form = re.search('name="csrfmiddlewaretoken" value="([^"]+)"', pages[row][1]).group(1)
        assert reader.open(row, name="changed", csrfmiddlewaretoken=token_of_form)[0] == 403
        assert reader.open(row.replace("/change/", "/delete/"))[0] == 403
        assert reader.open(row.replace("/change/", "/history/"))[0] == 404
    assert {reader.open(f"{path}add/")[0] for path in tables(index)} == {403}


def test_the_database_refuses_to_write(db, monkeypatch):
    monkeypatch.setattr("config.settings.ADMIN_CODE", "code")
    options = importlib.import_module("config.admin.settings").DATABASES["default"]["OPTIONS"]["options"]
    parameters = connection.get_connection_params() | {"options": options}
    names = ("host", "port", "user", "password", "dbname", "options")
    link = psycopg.connect(**{name: parameters[name] for name in names})
    with link, pytest.raises(ReadOnlySqlTransaction):
        link.execute("DELETE FROM teams_team")
