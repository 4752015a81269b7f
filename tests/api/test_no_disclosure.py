"""Requests for other teams' or private objects run the same statements as requests for absent ones.

Statements stand in for time, since they do not depend on the load of the machine. Secret links (invitations, shares,
new passwords) are left out: whoever has one knows that it exists.
"""

import re
from contextlib import contextmanager
from uuid import uuid4

import pytest
from django.db import connection

from api.http.requests import HEADER
from tests.api.phone import change, post_sync
from tests.api.records import TYPES, Place
from tests.api.routes import routes
from tests.api.rules import AN_ID, RULES
from tests.api.world import Sent, a_world, undone

pytestmark = pytest.mark.django_db

SECRET = re.compile("{verification_token}|/me/email/verification")
"""A mailed link, or what its token is sent to."""
ABSENT = [
    key
    for key, cells in RULES.items()
    if cells["stranger"] in ("404", "unknown")
    and set(cells.values()) - {"401", "403", "404", "sign-in"}
    and not SECRET.search(key[0])
]


@pytest.fixture(scope="module")
def world(django_db_setup, django_db_blocker, tmp_path_factory):
    with django_db_blocker.unblock(), a_world(tmp_path_factory.mktemp("photos")) as made:
        yield made


@contextmanager
def statements():
    """Gather what the database is asked, without the parameters, which are put in later, and without ids."""
    found = []

    def note(execute, sql, *arguments):
        # whom a transaction acts for goes before a statement; here, within one transaction, not before each
        plain = re.sub(r"^SELECT set_config\('role'[^;]*; ", "", str(sql))
        # statements that are sent together have their values written in
        plain = re.sub("[0-9a-f]{32}", "id", AN_ID.sub("id", plain))
        found.append(re.sub(r"s\d+_x\d+", "savepoint", plain))
        return execute(sql, *arguments)

    with connection.execute_wrapper(note):
        yield found


def measure(world, role, method, sent):
    """Return status, headers and text of an answer, sent ids masked, and the database queries it took."""
    with undone(), statements() as asked:
        answer = world.ask(role, method, sent)
    text = re.sub('(name="csrfmiddlewaretoken" value=")[^"]+', r"\1", AN_ID.sub("id", answer.content.decode()))
    headers = {name: value for name, value in answer.items() if name not in (HEADER, "RateLimit")}
    return answer.status_code, headers, text, asked


def elsewhere(value, known=None):
    """Return the same with another id in the place of each."""
    known = {} if known is None else known
    match value:
        case str():
            return AN_ID.sub(lambda found: known.setdefault(found[0], str(uuid4())), value)
        case list():
            return [elsewhere(one, known) for one in value]
        case dict():
            return {name: elsewhere(one, known) for name, one in value.items()}
        case _:
            return value


def same_as_absent(world, role, method, sent):
    """Check that what is sent is answered as if nothing had the ids in it, by the same work; return the status."""
    absent = Sent(elsewhere(sent.address), elsewhere(sent.body), sent.content_type, sent.headers)
    answers = [measure(world, role, method, one) for one in (sent, absent)]
    assert answers[0] == answers[1]
    assert len(answers[0][3]) > 1, "not even the token was looked up"
    return answers[0][0]


@pytest.mark.parametrize(("address", "method"), ABSENT)
def test_what_is_another_teams_costs_what_is_absent_does(world, address, method):
    status = same_as_absent(world, "stranger", method, world.request(address, method, "stranger"))

    assert status == {"404": 404, "unknown": 422}[RULES[address, method]["stranger"]]


def test_absent_is_asked_for_wherever_there_is_an_id():
    secrets = {"invitation_token", "reset_token", "share_token", "start_code", "verification_token"}
    pages = {"name", "problem_type", "record_type", "resource"}  # the same for everyone
    with_id = {(a, m) for a, names, methods in routes() if {*names} - pages and not secrets & {*names} for m in methods}

    assert with_id == {key for key in ABSENT if "{" in key[0]}


def test_a_device_of_another_login_costs_what_an_absent_one_does(world):
    sent = world.request("/api/v1/auth/tokens/{token_id}", "delete")

    assert same_as_absent(world, "owner", "delete", sent) == 404


@pytest.mark.parametrize(
    ("address", "method", "child"),
    [
        ("/api/v1/triangle-tests/{test_id}/trials/{trial_id}", "delete", "trial_id"),
        ("/lots/{lot_id}/photos/{photo_id}.jpg", "get", "photo_id"),
        ("/lots/{lot_id}/sessions/{session_id}/", "get", "session_id"),
        ("/shared/{share_token}/photos/{photo_id}.jpg", "get", "photo_id"),
    ],
)
def test_another_teams_child_of_an_own_parent_costs_what_an_absent_one_does(world, address, method, child):
    own = world.own_of_the_stranger()
    answers = [measure(world, "stranger", method, Sent(world.path(address, **own, **{child: one})))
               for one in (world.ids[child], uuid4())]  # fmt: skip

    assert answers[0] == answers[1]
    assert answers[0][0] == 404


@pytest.mark.parametrize(
    ("address", "method", "body"),
    [
        ("/api/v1/members/{user_id}/", "patch", lambda ids: {"shop": ids["shop_id"]}),
        ("/api/v1/triangle-tests/{test_id}/trials", "post", lambda ids: {"correct": True, "taster": ids["user_id"]}),
        ("/api/v1/triangle-tests/{test_id}/tasters", "put", lambda ids: {"tasters": [ids["user_id"]]}),
        ("/api/v1/sessions/{record_id}/", "patch", lambda ids: {"lot": ids["lot_id"]}),
        ("/api/v1/sessions/{record_id}/", "patch", lambda ids: {"shop": ids["shop_id"]}),
    ],
)
def test_another_teams_thing_in_a_change_costs_what_an_absent_one_does(world, address, method, body):
    own, answers = world.own_of_the_stranger(), []
    for ids in (world.ids, {name: uuid4() for name in world.ids}):
        sent = {**({"id": str(uuid4())} if method == "post" else {}), **body({n: str(one) for n, one in ids.items()})}
        answers.append(measure(world, "stranger", method, Sent(world.path(address, **own), sent)))

    assert answers[0] == answers[1]
    assert answers[0][0] == 422


def synced(world, role, *changes):
    """Return the verdicts of a sync, ids masked, and the database queries it took."""
    with undone(), statements() as asked:
        answer = post_sync(world.phones[role], changes=list(changes), limit=1)
        verdicts = answer.json()["verdicts"]
    return [{**verdict, "id": ""} for verdict in verdicts], asked


def edits_of(type_name, record, place):
    """Return a deletion and an edit of a record, and one that is made whole of a place."""
    field = {"note": "text", "descriptor": "label"}.get(type_name, "remarks")
    yield change(type_name, record, deleted=True)
    yield change(type_name, record, **{field: "x"})
    if type_name in ("session", "infusion", "note"):
        yield change(type_name, **place.new(type_name))


@pytest.mark.parametrize(
    ("address", "named"),
    [
        ("/api/v1/sessions/", "lot"),
        ("/api/v1/sessions/", "taster"),
        ("/api/v1/sessions/", "shop"),
        ("/api/v1/infusions/", "session"),
        ("/api/v1/notes/", "infusion"),
        ("/api/v1/photos/", "lot"),
        ("/api/v1/photos/", "session"),
        ("/api/v1/shares/", "lot"),
        ("/api/v1/triangle-tests/", "lot"),
        ("/api/v1/triangle-tests/", "waits_for"),
        ("/api/v1/audit", "after"),
        ("/api/v1/invitations/", "after"),
        ("/lots/", "lots"),
    ],
)
def test_list_that_asks_for_what_is_another_teams_costs_what_an_absent_one_does(world, address, named):
    known = {**world.place.words, "taster": world.taster.user.id, "lots": world.place.lot.id}
    sent = Sent(f"{address}?{named}={known.get(named, world.ids['invitation_id'])}")

    assert same_as_absent(world, "stranger", "get", sent) in (200, 404)


@pytest.mark.parametrize("type_name", TYPES)
def test_sync_of_another_teams_record_costs_what_an_absent_one_does(world, type_name):
    for sent in edits_of(type_name, world.records[type_name], world.place):
        theirs, absent = (synced(world, "stranger", one) for one in (sent, elsewhere(sent)))

        assert theirs == absent
        assert theirs[0][0]["verdict"] == "refused"


LEADS_TO_THE_FLIGHT = ("/flights/{flight_id}/late/{session_id}/", "get")
"""Whatever the session: who signs in to admit one is sent on."""


@pytest.fixture
def private(world):
    """A private session of the taster's."""
    return Place(world.taster, private=True)


@pytest.mark.parametrize(
    ("address", "method"),
    [
        (address, method)
        for address, method in ABSENT
        if ("{session_id}" in address and (address, method) != LEADS_TO_THE_FLIGHT)
        or re.match("/api/v1/(session|infusion|note)s/{record_id}", address)
    ],
)
def test_what_is_private_costs_the_rest_of_the_team_what_is_absent_does(world, private, address, method):
    kind = address.removeprefix("/api/v1/").partition("s/")[0]
    hidden = {"session_id": private.session.id} if "{session_id}" in address else {}
    absent = {"session_id": uuid4()} if hidden else {"record_id": uuid4()}
    hidden |= {"record_id": getattr(private, kind).id} if "{record_id}" in address else {}
    body = world.request(address, method).body
    answers = [measure(world, "owner", method, Sent(world.path(address, **ids), body)) for ids in (hidden, absent)]

    assert answers[0] == answers[1]
    assert answers[0][0] == 404


@pytest.mark.parametrize("type_name", ["session", "infusion", "note"])
def test_sync_of_what_is_private_costs_the_rest_of_the_team_what_is_absent_does(world, private, type_name):
    for sent in list(edits_of(type_name, getattr(private, type_name).id, private))[
        : 2 if type_name == "session" else 3
    ]:
        hidden, absent = (synced(world, "owner", one) for one in (sent, elsewhere(sent)))

        assert hidden == absent
        assert hidden[0][0]["verdict"] == "refused"
