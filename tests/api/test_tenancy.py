"""What belongs to another team, or to another member's private session, looks exactly like what is not there."""

import io
import zipfile
from contextlib import contextmanager
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.db.models import Model
from django.utils import timezone

from api.http.auth import LOGIN_HEADER
from api.http.requests import HEADER
from lots.models import FieldHistory
from tastings.models import Photo, PhotoContent, Share
from tastings.queries.records import MODELS
from tastings.queries.shares import token_of
from tastings.schemas import RECORD_SCHEMAS
from teams.actions.people import token_digest
from teams.models import DeviceToken, Member, ResetLink, Shop
from tests.api.phone import AT, change, pulled_records, sync
from tests.api.problems import refusal
from tests.api.records import TYPES, Place
from tests.api.routes import routes
from tests.api.world import undone, verification_of
from tests.factories import NOON, FlightCupFactory, FlightFactory, LotFactory, TeamFactory, person, web_browser

ROUTES = routes()
WITH_ID = [(address, method) for address, parameters, methods in ROUTES if parameters for method in methods]
WITHOUT_ID = [address for address, parameters, _ in ROUTES if not parameters]
OPEN = {"/api/v1/schema", "/api/v1/docs", "/sign-in/"}
OPEN |= {f"/api/v1/docs/{name}" for name in ("client", "conformance", "conformance/{name}", "{resource}")}
OPEN |= {"/api/v1/docs/examples/first-tasting.json"}
OPEN |= {"/metrics"}  # to this machine alone, which the tests are
OPEN |= {
    "/join/{invitation_token}/",
    "/reset/",
    "/reset/{reset_token}/",
    "/start/{start_code}/",
    "/language/",
    "/problems/{problem_type}",
}
OPEN |= {"/table/", "/table/manifest.webmanifest", "/table/sw.js"}
"""Addresses open to anyone: they have no data of a team."""
ACTIONS = {address for address, _, methods in ROUTES if "get" not in methods} | {"/sign-out/"}
"""What is not read but done."""
OPEN_POSTS = {
    (f"/api/v1/{name}", "post") for name in ("auth/tokens", "auth/reset", "auth/reset/password", "invitations/accept")
}
"""What comes before signing in."""
BODIES = {"patch": {"name": "theirs"}, "post": {"id": str(uuid4()), "correct": True}}
"""Bodies in which nothing is wrong, so that the address alone decides."""
PRIVATE_TYPES = ["session", "infusion", "note"]
STORED: list[type[Model]] = [*MODELS.values(), FieldHistory, Shop, Member, Photo]
ROW_TEXTS = "SELECT '{0}', {0}::text FROM {0}"


@contextmanager
def two_teams():
    """Make a taster with a place, and the owner of another team; undone at the end."""
    with undone():
        taster = person(TeamFactory(name="Kettle & Lid"), "taster")
        yield taster, Place(taster), person(TeamFactory(name="Other House"), "owner")


@pytest.fixture(scope="module")
def people(django_db_setup, django_db_blocker):
    with django_db_blocker.unblock(), two_teams() as made:
        yield made


@pytest.fixture
def taster(people, db):
    return people[0]


@pytest.fixture
def place(people, db):
    return people[1]


@pytest.fixture
def stranger(people, db):
    return people[2]


def foreign(address, place, taster):
    """Return the address with the id of what is the place's; fails for a route that this test does not know."""
    of_team = {
        "token_id": taster.device.id,
        "shop_id": taster.member.shop_id,
        "user_id": taster.user.id,
        "taster_id": taster.user.id,
        "lot_id": place.lot.id,
        "session_id": place.session.id,
        "problem_type": "none-such",
        "start_code": "of-no-server",
        "record_type": "infusion" if "{record_id}" in address else "none-such",
        "name": "none-such.json",
        "resource": "none-such",
    }
    if address.startswith("/team/words/"):
        of_team["record_id"] = place.descriptor.id
    elif "{record_type}" in address:
        of_team["record_id"] = place.infusion.id
    elif "{record_id}" in address:
        of_team["record_id"] = getattr(place, address.removeprefix("/api/v1/").partition("s/")[0]).id
    if "{test_id}" in address:
        of_team |= triangle_test_of(place, taster)
    if "{invitation_id}" in address or "{invitation_token}" in address:
        of_team |= invitation_of(taster)
    if "{reset_token}" in address:
        of_team |= reset_of(taster)
    if "{verification_token}" in address:
        of_team["verification_token"] = verification_of(taster.user, now=timezone.now())
    if "{flight_id}" in address:
        of_team["flight_id"] = FlightFactory(team=taster.team, by=taster.user).id
    if "{photo_id}" in address:
        of_team["photo_id"] = stored_photo(place, taster).id
    if "{share_id}" in address or "{share_token}" in address:
        of_team |= ended_share(place, taster)
    return address.format(**of_team)


def reset_of(taster):
    """Make a link to set the taster's password, which has ended."""
    ResetLink.objects.create(user=taster.user, digest=token_digest("ended"), created_at=NOON, expires_at=NOON)
    return {"reset_token": "ended"}


def invitation_of(taster):
    """Make an invitation that was taken back, so that its link opens nothing to anyone."""
    inviting = person(taster.team, "owner")
    sent = {"role": "taster", "shop": str(taster.member.shop_id)}
    made = inviting.client.post("/api/v1/invitations/", sent).json()
    assert inviting.client.delete(f"/api/v1/invitations/{made['id']}/").status_code == 204
    return {"invitation_id": made["id"], "invitation_token": made["token"]}


def triangle_test_of(place, taster):
    """Record a triangle test with one answer; return their ids by the name they have in addresses."""
    other = LotFactory(team=taster.team, by=taster.user)
    ids = {"test_id": str(uuid4()), "trial_id": str(uuid4())}
    test = {"id": ids["test_id"], "lot": place.words["lot"], "against": str(other.id), "held_on": "2026-03-04"}
    answers = [
        taster.client.post("/api/v1/triangle-tests/", test),
        taster.client.post(f"/api/v1/triangle-tests/{ids['test_id']}/trials", {"id": ids["trial_id"], "correct": True}),
    ]
    assert [answer.status_code for answer in answers] == [201, 201]
    return ids


def stored_photo(place, taster):
    """Make a photo whose picture the team holds."""
    same = {"team": taster.team, "sha256": "a" * 64, "bytes": 9}
    sizes = {"width": 4, "height": 3, "image_sha256": "b" * 64, "thumbnail_sha256": "c" * 64}
    content = PhotoContent.objects.create(**same, **sizes, created_at=NOON)
    return Photo.objects.create(
        id=uuid4(), session=place.session, of="liquor", by=taster.user, content=content, state="kept", received=9,
        created_at=NOON, touched_at=NOON, **same,
    )  # fmt: skip


def ended_share(place, taster):
    """Give a link and take it back; return its id and what stood in its address."""
    gave = Share.objects.create(
        team=taster.team, lot=place.lot, shows="report", lang="en", by=taster.user,
        created_at=NOON, expires_at=NOON + timedelta(days=9999), revoked_at=NOON,
    )  # fmt: skip
    return {"share_id": gave.id, "share_token": token_of(gave.id)}


def response_parts(response):
    """Return status, headers and body of an answer, without the request's id and the caller's count of requests.

    The web server takes off `LOGIN_HEADER` (`tests/config/test_turns.py`).
    """
    headers = {name: value for name, value in response.items() if name not in (HEADER, LOGIN_HEADER, "RateLimit")}
    return response.status_code, headers, response.content


def stored(*, of=None):
    """Return everything that is stored, of one team if given: each table with a row as the database writes it."""
    where, values = ("", None) if of is None else ("WHERE team_id = %s", [of.id] * len(STORED))
    each = [f"{ROW_TEXTS.format(model._meta.db_table)} {where}" for model in STORED]
    with connection.cursor() as cursor:
        cursor.execute(f"{' UNION ALL '.join(each)} ORDER BY 1, 2", values)
        return cursor.fetchall()


def rows_by(user):
    """Return all that somebody made, with all its values."""
    made = (*MODELS.values(), FieldHistory, Photo)
    return [list(model._default_manager.filter(by=user).order_by("pk").values()) for model in made]


def test_routes_are_all_found():
    assert {f"/api/v1/{name}s/{{record_id}}/" for name in TYPES} < {address for address, _, _ in ROUTES}
    assert len(WITH_ID) > 25


@pytest.mark.parametrize(("address", "method"), WITH_ID)
def test_route_with_a_foreign_id_answers_as_for_an_absent_one(stranger, taster, place, address, method):
    parameters = next(names for route, names, _ in ROUTES if route == address)
    addresses = [
        foreign(address, place, taster),
        *(
            address.format(**dict.fromkeys(parameters, other))
            for other in (uuid4(), "no-id", "%00", "\u0661" * 32, "0" * 31)
        ),
    ]
    before = stored()
    answers = [getattr(stranger.client, method)(each, BODIES.get(method)) for each in addresses]

    assert [answer.status_code for answer in answers] == [404] * len(answers)
    assert [response_parts(answer) for answer in answers] == [response_parts(answers[1])] * len(answers)
    assert stored() == before
    assert DeviceToken.objects.filter(id=taster.device.id).exists()


@pytest.mark.parametrize("address", WITHOUT_ID)
def test_route_without_an_id_tells_nothing_of_another_team(stranger, taster, place, address):
    if address in ACTIONS:
        return
    secrets = [str(getattr(place, name).id) for name in TYPES] + [str(taster.user.id), str(taster.team.id)]
    secrets += [taster.user.username, taster.team.name, place.lot.name, place.descriptor.key, taster.member.shop.name]
    answer = stranger.client.get(address, follow=True)

    # compare needs parameters, the test client has no event loop, and the stranger's team has no logo
    status_of = {"/api/v1/compare": {422}, "/api/v1/events": {501}}
    status_of |= {of: {404} for of in ("/team/logo.jpg", "/api/v1/team/logo", "/api/v1/team/logo/image")}
    assert answer.status_code in status_of.get(address, {200})
    text = text_of(answer)
    assert [secret for secret in secrets if secret in text] == []


def text_of(answer):
    """Return the text of an answer; of a zip, of every file in it."""
    if not answer.streaming:
        return answer.content.decode()
    with zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content))) as opened:
        return "".join(opened.read(name).decode("latin-1") for name in opened.namelist())


@pytest.mark.parametrize(("address", "parameters", "methods"), ROUTES)
def test_route_asks_who_is_there(db, client, address, parameters, methods):
    if address in OPEN | {"/", "/sign-out/"} or address.startswith("/shared/"):
        return
    path = address.format(**dict.fromkeys(parameters, uuid4()))
    for method in methods:
        if (address, method) in OPEN_POSTS:
            continue
        answer = getattr(client, method)(path, content_type="application/json") if method != "get" else client.get(path)
        if address.startswith("/api/"):
            assert refusal(answer)[:2] == (401, "not-authenticated")
        else:
            assert refusal(answer)[:2] == (401, "not-authenticated")
            answer = getattr(web_browser(), method)(path)
            assert (answer.status_code, answer["Location"]) == (302, f"/sign-in/?next={path}")


@pytest.mark.parametrize("type_name", TYPES)
def test_list_filter_by_a_foreign_id_finds_nothing(stranger, taster, place, type_name):
    schema = RECORD_SCHEMAS[type_name]
    values = {
        **place.words,
        "from_lot": place.words["lot"],
        "taster": str(taster.user.id),
        "descriptor": place.words["word"],
    }
    for name in schema.filters:
        if name in values:
            answer = stranger.client.get(f"/api/v1/{type_name}s/", {name: values[name]})
            assert (answer.status_code, answer.json()["results"]) == (200, [])


@pytest.mark.parametrize("type_name", TYPES)
def test_sync_of_a_foreign_id_is_refused_as_of_an_absent_one(stranger, taster, place, type_name):
    own = Place(stranger)
    theirs, absent = getattr(place, type_name).id, uuid4()
    partial = {"remarks": "mine"} if type_name in ("lot", "session", "infusion") else {}
    before = stored(of=taster.team)
    answer = sync(
        stranger.client,
        [
            change(type_name, theirs, deleted=True),
            change(type_name, absent, deleted=True),
            change(type_name, theirs, **partial),
            change(type_name, absent, **partial),
            change(type_name, theirs, **own.new(type_name)),
        ],
    )

    deletion, no_deletion, edit, no_edit, creation = answer["verdicts"]
    assert [{**deletion, "id": ""}, {**edit, "id": ""}] == [{**no_deletion, "id": ""}, {**no_edit, "id": ""}]
    assert {deletion["verdict"], edit["verdict"]} == {"refused"}
    assert (creation["verdict"], creation["revision"]) == ("refused", None)
    assert [(problem["field"], problem["code"]) for problem in creation["problems"]] == [("id", "taken")]
    assert str(theirs) not in [row["id"] for row in answer["changes"]]
    assert stored(of=taster.team) == before


@pytest.mark.parametrize(
    ("type_name", "field"),
    [
        (schema.type, field.name)
        for schema in RECORD_SCHEMAS.values()
        for field in schema.fields
        if field.kind in ("reference", "key")
    ],
)
def test_foreign_reference_is_refused_as_an_absent_one(stranger, taster, place, type_name, field):
    own = Place(stranger)
    words = {**place.words, "from_lot": place.words["lot"], "descriptor": place.words["word"]}
    words["flight_cup"] = str(FlightCupFactory(lot=place.lot, taster=taster.user).id)
    before = stored(of=taster.team)
    for value in (words[field], "no_such_word" if field == "descriptor" else str(uuid4())):
        sent = own.new(type_name, **{field: value})
        by_rest = stranger.client.post(f"/api/v1/{type_name}s/", {"id": str(uuid4()), **sent})
        by_sync = sync(
            stranger.client,
            [change(type_name, **sent), change(type_name, getattr(own, type_name).id, **{field: value})],
        )

        assert refusal(by_rest) == (422, "invalid", {(field, "unknown_parent")})
        problems = [
            [(problem["field"], problem["code"]) for problem in verdict["problems"]] for verdict in by_sync["verdicts"]
        ]
        assert problems[0] == [(field, "unknown_parent")]
        assert (field, "unknown_parent") in problems[1]
    assert stored(of=taster.team) == before


def test_pull_from_the_start_brings_own_records_only(stranger, taster, place):
    own = Place(stranger)
    assert_only_own(stranger, own)


def test_token_reaches_the_team_it_is_for_and_no_other_of_the_login(taster, place):
    elsewhere = person(TeamFactory(), "owner")
    Member.objects.create(team=elsewhere.team, user=taster.user, role="owner")
    theirs = Place(elsewhere)

    assert taster.client.get(f"/api/v1/lots/{theirs.lot.id}/").status_code == 404
    assert_only_own(taster, place)


def assert_only_own(who, place):
    """Check that a pull from the start has the place's records and one's own shop and membership."""
    changes = sync(who.client)["changes"]
    assert {row["id"] for row in pulled_records(changes)} == {str(getattr(place, name).id) for name in TYPES}
    others = {row["id"] for row in changes if row not in pulled_records(changes)}
    assert others == {str(who.member.shop_id), str(who.user.id)}


@pytest.fixture
def hider(team):
    """A taster of the team that ``owner`` belongs to, whose only session is private."""
    return person(team, "taster")


@pytest.fixture
def private(hider):
    return Place(hider, private=True)


@pytest.mark.parametrize("shared_before", [False, True])
@pytest.mark.parametrize("type_name", PRIVATE_TYPES)
def test_private_session_looks_absent_to_the_rest_of_the_team(hider, owner, private, type_name, shared_before):
    type(private.session).objects.filter(id=private.session.id).update(shared_once=shared_before)
    hidden, address = getattr(private, type_name), f"/api/v1/{type_name}s/"
    before = stored()
    for method, after in (("get", ""), ("patch", ""), ("delete", ""), ("get", "history")):
        answers = [getattr(owner.client, method)(f"{address}{which}/{after}") for which in (hidden.id, uuid4())]
        assert [response_parts(answer) for answer in answers] == [response_parts(answers[1])] * 2
        assert answers[0].status_code == 404
    assert owner.client.get(address).json()["results"] == []
    assert [row["id"] for row in hider.client.get(address).json()["results"]] == [str(hidden.id)]
    assert stored() == before


@pytest.mark.parametrize("type_name", PRIVATE_TYPES)
def test_private_session_cannot_be_changed_or_hung_on_by_the_rest_of_the_team(hider, owner, private, type_name):
    own, hidden = Place(owner), getattr(private, type_name).id
    reference = {
        "session": {},
        "infusion": {"session": private.words["session"]},
        "note": {"infusion": private.words["infusion"]},
    }
    before = rows_by(hider.user)
    answer = sync(
        owner.client,
        [
            change(type_name, hidden, deleted=True),
            change(type_name, uuid4(), deleted=True),
            change(type_name, hidden, **own.new(type_name)),
            change(type_name, **own.new(type_name, **reference[type_name])),
        ],
    )

    deletion, no_deletion, creation, hung = answer["verdicts"]
    assert {**deletion, "id": ""} == {**no_deletion, "id": ""}
    assert [(problem["field"], problem["code"]) for problem in creation["problems"]] == [("id", "taken")]
    if type_name != "session":
        [name] = reference[type_name]
        assert [(problem["field"], problem["code"]) for problem in hung["problems"]] == [(name, "unknown_parent")]
    assert str(hidden) not in [row["id"] for row in answer["changes"]]
    assert rows_by(hider.user) == before


def test_only_the_taster_makes_a_session_private_or_open(taster, place):
    owner = person(taster.team, "owner")
    address = f"/api/v1/sessions/{place.session.id}/"
    by_another = [
        refusal(owner.client.patch(address, {"private": True})),
        sync(owner.client, [change("session", place.session.id, private=True)])["verdicts"][0]["problems"][0]["code"],
    ]
    by_taster = taster.client.patch(address, {"private": True})

    assert by_another == [(403, "not-allowed", {("private", "not_allowed")}), "not_allowed"]
    assert (by_taster.status_code, owner.client.get(address).status_code) == (200, 404)


def test_private_session_leaves_the_report_and_the_figures_alone(hider, owner, private):
    figures = owner.client.get(f"/api/v1/lots/{private.lot.id}/development").json()
    report = owner.client.get(f"/lots/{private.lot.id}/report/").content.decode()

    assert (figures["evidence"]["sessions"], figures["stale"]) == (0, False)
    assert str(private.session.id) not in report


def test_change_of_another_team_moves_no_cursor(stranger, taster, place):
    before = sync(stranger.client)["cursor"]
    sync(taster.client, [change("lot", place.lot.id, at=AT, remarks="new")])

    assert sync(stranger.client)["cursor"] == before
