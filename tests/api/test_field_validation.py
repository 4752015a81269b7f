"""Whatever does not fit is refused by name, through REST and through sync alike, and nothing of it is stored."""

import gzip
import json
from uuid import uuid4

import pytest

from api.http.parsing import MAX_BODY_BYTES
from lots.models import FieldHistory
from tastings.queries.records import MODELS
from tastings.schemas import RECORD_SCHEMAS
from teams.models import Role
from tests.api.phone import AT, PHONE, change, post_sync, pulled_records, sync, verdict_names
from tests.api.problems import named, refusal
from tests.api.records import TYPES, Place
from tests.api.world import undone
from tests.factories import TeamFactory, person
from tests.lots.bad_values import FIELD_NAMES, FIELDS, fitting, unfit

every_field = pytest.mark.parametrize(("type_name", "field"), FIELDS, ids=FIELD_NAMES)
every_type = pytest.mark.parametrize("type_name", TYPES)


@pytest.fixture(scope="module")
def made(django_db_setup, django_db_blocker):
    """A place, the taster whose it is, and a buyer of the team; what a test does to it is undone with the test."""
    with django_db_blocker.unblock(), undone():
        taster = person(TeamFactory(), Role.TASTER)
        yield Place(taster), taster, person(taster.team, Role.BUYER)


@pytest.fixture
def place(made, db):
    return made[0]


@pytest.fixture
def taster(made, db):
    return made[1]


@pytest.fixture
def buyer(made, db):
    return made[2]


@pytest.fixture
def nothing_stored(place):
    """Check, when the test is over, that the team's records are what they were."""
    before = snapshot(place)
    yield
    assert snapshot(place) == before


def snapshot(place):
    place.lot.team.refresh_from_db()
    records = {name: list(model._default_manager.order_by("id").values()) for name, model in MODELS.items()}
    return place.lot.team.revision, records, FieldHistory.objects.count()


def raw(person, body, address="/api/v1/sync", content_type="application/json", **headers):
    return person.client.generic("POST", address, body, content_type=content_type, **headers)


def spread(type_name, field, n):
    """Return what keeps the n-th new record apart from the others when another field is the one that is tried."""
    if type_name == "infusion" and field.name != "number":
        return {"number": 50 + n}
    return {"key": f"tried_{n}"} if type_name == "descriptor" and field.name != "key" else {}


@every_type
@pytest.mark.usefixtures("nothing_stored")
def test_rest_names_each_field_with_an_invalid_value(taster, place, type_name):
    tried = {field.name: unfit(field) for field in RECORD_SCHEMAS[type_name].fields}
    for n in range(max(map(len, tried.values()))):
        values = {name: invalid[n] for name, invalid in tried.items() if n < len(invalid)}
        fields = {name: value for name, (value, _) in values.items()}
        answers = [
            taster.client.post(f"/api/v1/{type_name}s/", {"id": str(uuid4()), **place.new(type_name), **fields}),
            taster.client.patch(f"/api/v1/{type_name}s/{getattr(place, type_name).id}/", fields),
        ]

        problems = {(name, code) for name, (_, code) in values.items()}
        assert [refusal(answer) for answer in answers] == [(422, "invalid", problems)] * 2, fields


@every_type
@pytest.mark.usefixtures("nothing_stored")
def test_sync_names_the_field_with_an_invalid_value(taster, place, type_name):
    invalid = [(field.name, value, code) for field in RECORD_SCHEMAS[type_name].fields for value, code in unfit(field)]
    new = [change(type_name, **place.new(type_name, **{name: value})) for name, value, _ in invalid]
    known = [change(type_name, getattr(place, type_name).id, **{name: value}) for name, value, _ in invalid]
    answers = [sync(taster.client, sent) for sent in (new, known)]

    for answer, sent in zip(answers, (new, known), strict=True):
        verdicts = [(verdict["verdict"], named(verdict), verdict["revision"]) for verdict in answer["verdicts"]]
        assert verdicts == [("refused", {(name, code)}, None) for name, _, code in invalid]
        assert [verdict["id"] for verdict in answer["verdicts"]] == [one["id"] for one in sent]


@every_field
def test_field_at_its_limits_is_stored_by_rest_and_sync(buyer, place, type_name, field):
    again = []
    # a session may not begin in the far future, see `tests/sync/test_order.py`
    for n, value in enumerate(one for one in fitting(field) if not str(one).startswith("9999-12-31T")):
        sent = {"id": str(uuid4()), **place.new(type_name), **spread(type_name, field, n), field.name: value}
        made = buyer.client.post(f"/api/v1/{type_name}s/", sent)
        assert made.status_code == 201, (value, made.content)
        if field.kind != "moment":
            assert made.json()[field.name] == value
        fields = {name: content for name, content in sent.items() if name != "id"}
        again.append(change(type_name, sent["id"], at="2000-01-01T00:00:00Z", **fields))
        if field.name in ("number", "key"):  # no two records have the same
            assert verdict_names(sync(buyer.client, again[-1:], limit=1)) == ["unchanged"], value
            buyer.client.delete(f"/api/v1/{type_name}s/{sent['id']}/")
    # the same again by a phone finds it as it is: both ways keep one wire form
    if field.name not in ("number", "key"):
        verdicts = sync(buyer.client, again, limit=1)
        assert verdict_names(verdicts) == ["unchanged"] * len(again), verdicts["verdicts"]


@every_type
def test_required_field_set_to_null_in_a_stored_record_is_refused(taster, place, type_name):
    for field in RECORD_SCHEMAS[type_name].fields:
        if field.required:
            answer = sync(taster.client, [change(type_name, getattr(place, type_name).id, **{field.name: None})])
            assert [named(verdict) for verdict in answer["verdicts"]] == [{(field.name, "required")}]


@pytest.mark.parametrize(
    ("type_name", "low", "high"),
    [(schema.type, low, high) for schema in RECORD_SCHEMAS.values() for low, high in schema.ordered_pairs],
)
@pytest.mark.usefixtures("nothing_stored")
def test_pair_out_of_order_is_named(taster, place, type_name, low, high):
    sent = place.new(type_name, **{low: 9, high: 8})
    by_rest = taster.client.post(f"/api/v1/{type_name}s/", {"id": str(uuid4()), **sent})
    by_sync = sync(taster.client, [change(type_name, **sent)])

    assert refusal(by_rest) == (422, "invalid", {(low, "order")})
    assert [named(verdict) for verdict in by_sync["verdicts"]] == [{(low, "order")}]


@every_type
@pytest.mark.usefixtures("nothing_stored")
def test_unknown_and_read_only_fields_are_named(taster, place, type_name):
    server_fields = RECORD_SCHEMAS[type_name].server_fields
    sent = dict.fromkeys((*server_fields, "revision", "by", "team", "removed", "stamps"), "x")
    sent |= {"colour\x00\u2028": "x", "\ud800": "x", "": "x", "n" * 100: "x"}
    wanted = {(name, "read_only" if name in server_fields else "unknown_field") for name in sent}
    wanted = (wanted - {("\ud800", "unknown_field"), ("n" * 100, "unknown_field")}) | {
        ("?", "unknown_field"), ("n" * 80, "unknown_field"),
    }  # fmt: skip
    address, known = f"/api/v1/{type_name}s/", getattr(place, type_name).id
    by_rest = [
        taster.client.post(address, {"id": str(uuid4()), **place.new(type_name), **sent}),
        taster.client.patch(f"{address}{known}/", sent),
    ]
    by_sync = sync(taster.client, [change(type_name, **place.new(type_name), **sent), change(type_name, known, **sent)])

    assert [refusal(answer) for answer in by_rest] == [(422, "invalid", wanted)] * 2
    assert [(verdict["verdict"], named(verdict)) for verdict in by_sync["verdicts"]] == [("refused", wanted)] * 2


@every_type
@pytest.mark.usefixtures("nothing_stored")
def test_reference_to_nothing_is_an_unknown_parent(buyer, place, type_name):
    for field in RECORD_SCHEMAS[type_name].fields:
        if field.kind not in ("reference", "key"):
            continue
        sent = place.new(type_name, **{field.name: "no_word" if field.kind == "key" else str(uuid4())})
        by_rest = buyer.client.post(f"/api/v1/{type_name}s/", {"id": str(uuid4()), **sent})
        by_sync = sync(buyer.client, [change(type_name, **sent)])

        assert refusal(by_rest) == (422, "invalid", {(field.name, "unknown_parent")})
        assert [named(verdict) for verdict in by_sync["verdicts"]] == [{(field.name, "unknown_parent")}]


LOT = {"type": "lot", "id": str(uuid4()), "at": AT, "fields": {"name": "x", "kind": "green"}}


@pytest.mark.parametrize(
    ("sent", "problems"),
    [
        (None, {("", "type")}),
        ([], {("", "type")}),
        ("lot", {("", "type")}),
        ({}, {("type", "choice"), ("id", "id"), ("at", "moment"), ("fields", "type")}),
        ({**LOT, "type": "tea"}, {("type", "choice")}),
        ({**LOT, "type": ["lot"]}, {("type", "choice")}),
        ({**LOT, "type": "\ud800"}, {("type", "choice")}),
        ({**LOT, "id": "here"}, {("id", "id")}),
        ({**LOT, "id": {}}, {("id", "id")}),
        ({**LOT, "id": "\ud800"}, {("id", "id")}),
        ({**LOT, "at": "2026-03-04T10:11:12"}, {("at", "moment")}),
        ({**LOT, "at": None}, {("at", "moment")}),
        ({**LOT, "fields": []}, {("fields", "type")}),
        ({**LOT, "fields": None}, {("fields", "type")}),
        ({**LOT, "deleted": "yes"}, {("deleted", "type")}),
        ({**LOT, "deleted": None}, {("deleted", "type")}),
        ({**LOT, "deleted": True}, {("fields", "with_deleted")}),
        ({**LOT, "revision": 3, "\ud800": 1}, {("revision", "unknown_field"), ("?", "unknown_field")}),
    ],
)
def test_malformed_change_is_refused_alone(taster, place, sent, problems):
    good = [change("lot", **place.new("lot")) for _ in range(2)]
    answer = sync(taster.client, [good[0], sent, good[1]])

    assert verdict_names(answer) == ["applied", "refused", "applied"]
    assert named(answer["verdicts"][1]) == problems


@pytest.mark.parametrize(
    ("members", "problems"),
    [
        ({"device": "phone"}, {("device", "id")}),
        ({"device": None}, {("device", "required")}),
        ({"cursor": -1}, {("cursor", "range")}),
        ({"cursor": 2**63}, {("cursor", "range")}),
        ({"cursor": "0"}, {("cursor", "type")}),
        ({"cursor": 1.5}, {("cursor", "type")}),
        ({"cursor": True}, {("cursor", "type")}),
        ({"cursor": None}, {("cursor", "required")}),
        ({"limit": 0}, {("limit", "range")}),
        ({"limit": 1001}, {("limit", "range")}),
        ({"limit": "5"}, {("limit", "type")}),
        ({"limit": 1.5}, {("limit", "type")}),
        ({"changes": {}}, {("changes", "type")}),
        ({"changes": None}, {("changes", "required")}),
        ({"nulls": 1}, {("nulls", "type")}),
        ({"echo": "no"}, {("echo", "type")}),
        ({"echo": None}, {("echo", "required")}),
        ({"schema": "1"}, {("schema", "type")}),
        ({"schema": 1.0}, {("schema", "type")}),
        ({"schema": True}, {("schema", "type")}),
        ({"schema": [1]}, {("schema", "type")}),
        ({"schema": None, "device": None}, {("schema", "required"), ("device", "required")}),
        ({"extra": 1, "\ud800": 2}, {("extra", "unknown_field"), ("?", "unknown_field")}),
        ({"device": 1, "cursor": 1.0, "limit": []}, {("device", "id"), ("cursor", "type"), ("limit", "type")}),
    ],
)
@pytest.mark.usefixtures("nothing_stored")
def test_sync_body_with_a_bad_member_applies_nothing(taster, place, members, problems):
    good = {"changes": [change("lot", **place.new("lot"))]}

    assert refusal(post_sync(taster.client, **good | members)) == (422, "invalid", problems)


@pytest.mark.parametrize("schema", [0, -1, 2, 10**30])
@pytest.mark.usefixtures("nothing_stored")
def test_sync_of_an_unknown_schema_names_the_known_ones(taster, place, schema):
    answer = post_sync(taster.client, schema=schema, changes=[change("lot", **place.new("lot"))])

    assert refusal(answer) == (409, "unknown-schema", {("schema", "choice")})
    assert "1" in answer.json()["detail"]


@pytest.mark.parametrize("address", ["/api/v1/sync", "/api/v1/sync/stream"])
def test_sync_body_without_a_schema_is_a_mistake_of_the_client_and_not_an_old_app(taster, address):
    """409 makes an app ask for an update."""
    device = {"device": str(PHONE)}
    empty, missing, unfit = (taster.client.post(address, body) for body in ({}, device, {**device, "schema": "1"}))

    assert refusal(empty) == (422, "invalid", {("schema", "required"), ("device", "required")})
    assert refusal(missing) == (422, "invalid", {("schema", "required")})
    assert refusal(unfit) == (422, "invalid", {("schema", "type")})
    assert refusal(taster.client.post(address, {**device, "schema": 2}))[0] == 409


def test_cursor_beyond_its_limit_is_refused_by_naming_the_limit(taster):
    [problem] = post_sync(taster.client, cursor=2**63).json()["problems"]

    assert problem["detail"] == "must be a whole number from 0 to 9223372036854775807"
    assert refusal(post_sync(taster.client, cursor=2**63 - 1))[:2] == (410, "start-again")


def lots(n, size=0):
    """Return a sync body of n new lots as bytes, with remarks of ``size`` in each."""
    changes = [change("lot", name="x", kind="green", remarks="r" * size) for _ in range(n)]
    return json.dumps({"schema": 1, "device": str(PHONE), "limit": 1, "changes": changes}).encode()


def test_sync_takes_a_thousand_changes(taster):
    answer = raw(taster, lots(1000))

    assert (answer.status_code, set(verdict_names(answer.json()))) == (200, {"applied"})


@pytest.mark.usefixtures("nothing_stored")
def test_sync_of_more_than_a_thousand_changes_is_too_large(taster, place):
    assert refusal(raw(taster, lots(1001))) == (413, "too-large", set())


@pytest.mark.usefixtures("nothing_stored")
@pytest.mark.parametrize("packed", [False, True])
def test_sync_of_more_than_two_mebibytes_is_too_large(taster, place, packed):
    body = lots(300, size=8000)
    assert len(body) > MAX_BODY_BYTES
    sent, headers = (gzip.compress(body), {"HTTP_CONTENT_ENCODING": "gzip"}) if packed else (body, {})

    assert refusal(raw(taster, sent, **headers)) == (413, "too-large", set())


@pytest.mark.parametrize("packed", [False, True])
def test_sync_of_exactly_two_mebibytes_is_accepted(taster, packed):
    body = lots(1).ljust(MAX_BODY_BYTES)
    sent, headers = (gzip.compress(body), {"HTTP_CONTENT_ENCODING": "gzip"}) if packed else (body, {})

    assert raw(taster, sent, **headers).status_code == 200
    assert refusal(raw(taster, gzip.compress(body + b" ") if packed else body + b" ", **headers))[0] == 413


GOOD = {"schema": 1, "device": str(PHONE)}
PLAIN = json.dumps(GOOD).encode()
PACKED = gzip.compress(PLAIN)


def test_gzip_body_is_read(stranger):
    answer = raw(stranger, PACKED, HTTP_CONTENT_ENCODING=" GZIP ")

    assert (answer.status_code, pulled_records(answer.json()["changes"])) == (200, [])


@pytest.mark.parametrize(
    ("body", "encoding"),
    [
        (PACKED[:-1], "gzip"),
        (PACKED[:-9], "gzip"),
        (PACKED[:12], "gzip"),
        (PACKED + b"and more", "gzip"),
        (PACKED + PACKED, "gzip"),
        (PLAIN, "gzip"),
        (PACKED, "identity"),
        (PACKED, "br"),
        (gzip.compress(PACKED), "gzip, gzip"),
        (PLAIN[:-1], "identity"),
        (PLAIN * 2, "identity"),
        (b" ", "identity"),
        (b"{" * 100_000, "identity"),
        (b"[" * 100_000, "identity"),
        (b'{"a":' * 50_000 + b"1" + b"}" * 50_000, "identity"),
        (PLAIN.decode().encode("utf-16"), "identity"),
        (b'{"schema": "\xff"}', "identity"),
        (b"\xef\xbb\xbf" + PLAIN, "identity"),
        (b"schema=1", "identity"),
        (b"{'schema': 1}", "identity"),
    ],
    ids=range(20),
)
def test_body_that_is_not_json_is_a_parse_error(taster, body, encoding):
    answer = raw(taster, body, HTTP_CONTENT_ENCODING=encoding)

    assert refusal(answer) == (400, "parse-error", set())


@pytest.mark.parametrize(
    "number", ["NaN", "Infinity", "-Infinity", "1e400", "-1e400", "1" * 5000, "0x10", "01", "+1", ".5", "1."]
)
@pytest.mark.usefixtures("nothing_stored")
def test_number_that_json_does_not_have_is_a_parse_error(taster, place, number):
    lot = json.dumps({"id": str(uuid4()), **place.new("lot"), "quantity_g": 0})[:-2] + number + "}"
    pushed = json.dumps({**GOOD, "changes": [change("lot", **place.new("lot", quantity_g=0))]})[:-5] + number + "}}]}"
    answers = [raw(taster, lot, "/api/v1/lots/"), raw(taster, pushed)]

    assert [refusal(answer) for answer in answers] == [(400, "parse-error", set())] * 2


def test_body_with_a_charset_is_json_in_utf8(taster, place):
    sent = {"id": str(uuid4()), **place.new("lot", name="霧")}
    answer = raw(
        taster, json.dumps(sent, ensure_ascii=False).encode(), "/api/v1/lots/", "application/json; charset=utf-8"
    )

    assert (answer.status_code, answer.json()["name"]) == (201, "霧")


@pytest.mark.parametrize("value", ["[" * 850 + "]" * 850, '{"a":' * 850 + "1" + "}" * 850])
@pytest.mark.usefixtures("nothing_stored")
def test_deeply_nested_value_is_refused_like_any_other(taster, place, value):
    lot = json.dumps({"id": str(uuid4()), **place.new("lot"), "quantity_g": 0})[:-2] + value + "}"
    pushed = json.dumps({**GOOD, "changes": [change("lot", **place.new("lot", quantity_g=0))]})[:-5] + value + "}}]}"

    assert refusal(raw(taster, lot, "/api/v1/lots/")) == (422, "invalid", {("quantity_g", "type")})
    assert [named(verdict) for verdict in raw(taster, pushed).json()["verdicts"]] == [{("quantity_g", "type")}]


@pytest.mark.parametrize(
    "address",
    [
        "/api/v1/nothing",
        "/api/v1/lots/x/y/z",
        "/nothing",
        "/api/v1/lots/%00/",
        "/api/v1/lots/%ED%A0%80/",
        "/api/v2/lots/",
    ],
)
def test_address_that_does_not_exist_is_a_problem(taster, address):
    assert refusal(taster.client.get(address)) == (404, "not-here", set())
