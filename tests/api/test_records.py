"""Lots, sessions, infusions, notes and descriptors as REST resources."""

from uuid import uuid4

import pytest

from tastings.queries.records import MODELS
from tastings.schemas import RECORD_SCHEMAS
from tests.api.phone import change, sync, verdict_names
from tests.api.problems import refusal
from tests.api.records import FULL, TYPES, Place, address_of, create
from tests.factories import LotFactory, SessionFactory

every_type = pytest.mark.parametrize("type_name", TYPES)
# a field that may change, and two values for it
EDITS = {
    "lot": ("remarks", "first", "second"),
    "session": ("water", "first", "second"),
    "infusion": ("steep_s", 11, 12),
    "pot": ("name", "first", "second"),
    "note": ("text", "first", "second"),
    "descriptor": ("family", "first", "second"),
}


@pytest.fixture
def place(taster):
    return Place(taster)


def test_full_bodies_hold_every_field_of_the_shapes():
    assert {name: set(fields) for name, fields in FULL.items()} == {
        name: set(schema.by_name()) for name, schema in RECORD_SCHEMAS.items()
    }


@every_type
def test_record_with_every_field_reads_back_as_sent(buyer, place, type_name):
    sent = {"id": str(uuid4()), **place.full(type_name)}
    made = buyer.client.post(address_of(type_name), sent)
    read = buyer.client.get(address_of(type_name, sent["id"]))

    server = {"session": {"taster": str(buyer.user.id)}, "descriptor": {"built_in": False}}.get(type_name, {})
    assert made.status_code == 201
    assert made.json() == {
        **sent, **server, "revision": made.json()["revision"], "by": str(buyer.user.id),
            "author": str(buyer.user.id),
    }  # fmt: skip
    assert made["ETag"] == f'"{made.json()["revision"]}"'
    assert made["Location"] == f"http://testserver{address_of(type_name, sent['id'])}"
    assert (read.status_code, read.json(), read["ETag"]) == (200, made.json(), made["ETag"])


@every_type
def test_record_with_the_least_has_null_for_the_rest(taster, place, type_name):
    sent = {"id": str(uuid4()), **place.new(type_name)}
    made = create(taster, type_name, sent).json()

    defaults = {"private": False, "retired": False, "rated_each_infusion": False, "synonyms": [], "built_in": False}
    unsent = {
        name: value
        for name, value in made.items()
        if name not in sent and name not in ("revision", "by", "author", "taster")
    }
    assert {name: made[name] for name in sent} == sent
    assert unsent == {name: defaults.get(name) for name in unsent}


@every_type
def test_record_under_a_taken_id_is_refused(taster, place, type_name):
    taken = getattr(place, type_name)
    field, other, _ = EDITS[type_name]
    answer = taster.client.post(address_of(type_name), {"id": str(taken.id), **place.new(type_name), field: other})

    assert refusal(answer) == (422, "invalid", {("id", "taken")})
    assert taster.client.get(address_of(type_name, taken.id)).json()["revision"] == taken.revision


@every_type
def test_record_sent_again_is_answered_with_what_stands_now(taster, place, type_name):
    body = {"id": str(uuid4()), **place.new(type_name)}
    made = taster.client.post(address_of(type_name), body)
    name, value, _ = EDITS[type_name]
    edited = taster.client.patch(address_of(type_name, body["id"]), {name: value})
    again = taster.client.post(address_of(type_name), body)

    assert (made.status_code, edited.status_code, again.status_code) == (201, 200, 201)
    assert again.json() == edited.json() != made.json()


@every_type
@pytest.mark.parametrize(("given", "code"), [(None, "required"), (17, "id"), ("no-id", "id"), ("\ud800" * 36, "id")])
def test_record_without_a_good_id_is_refused(taster, place, type_name, given, code):
    answer = taster.client.post(address_of(type_name), {"id": given, **place.new(type_name)})

    assert refusal(answer) == (422, "invalid", {("id", code)})


@every_type
def test_record_with_nothing_names_every_missing_field(taster, place, type_name):
    answer = taster.client.post(address_of(type_name), {"id": str(uuid4())})

    required = {field.name for field in RECORD_SCHEMAS[type_name].fields if field.required}
    required |= set(RECORD_SCHEMAS[type_name].one_required[:1])
    required |= set(RECORD_SCHEMAS[type_name].one_required_when_new[:1])
    assert refusal(answer) == (422, "invalid", {(name, "required") for name in required})


@every_type
def test_patch_of_one_field_keeps_the_others(buyer, place, type_name):
    before = create(buyer, type_name, place.full(type_name)).json()
    name, value, _ = EDITS[type_name]
    answer = buyer.client.patch(address_of(type_name, before["id"]), {name: value})

    after = answer.json()
    assert answer.status_code == 200
    assert after == {**before, name: value, "revision": after["revision"]}
    assert after["revision"] > before["revision"]
    assert answer["ETag"] == f'"{after["revision"]}"'
    assert buyer.client.get(address_of(type_name, before["id"])).json() == after


@every_type
def test_patch_to_null_forgets_what_may_be_unknown(buyer, place, type_name):
    before = create(buyer, type_name, place.full(type_name)).json()
    needed = RECORD_SCHEMAS[type_name].one_required
    free = [field for field in RECORD_SCHEMAS[type_name].fields if not field.required and field.name not in needed]
    answer = buyer.client.patch(address_of(type_name, before["id"]), {field.name: None for field in free})

    empty = {field.name: [] if field.kind == "texts" else field.default for field in free}
    assert (answer.status_code, answer.json()) == (200, {**before, **empty, "revision": answer.json()["revision"]})


@every_type
def test_patch_with_the_same_value_changes_no_other_field(buyer, place, type_name):
    before = create(buyer, type_name, place.full(type_name)).json()
    name = EDITS[type_name][0]
    answer = buyer.client.patch(address_of(type_name, before["id"]), {name: before[name]})

    assert (answer.status_code, answer.json() | {"revision": 0}) == (200, before | {"revision": 0})


@every_type
def test_patch_and_delete_of_an_outdated_revision_are_refused(taster, place, type_name):
    before = create(taster, type_name, place.new(type_name)).json()
    address, (name, first, second) = address_of(type_name, before["id"]), EDITS[type_name]
    after = taster.client.patch(address, {name: first}, HTTP_IF_MATCH=f'"{before["revision"]}"')
    late = [
        taster.client.patch(address, {name: second}, HTTP_IF_MATCH=f'"{before["revision"]}"'),
        taster.client.delete(address, HTTP_IF_MATCH=f'"{before["revision"]}"'),
    ]

    assert (after.status_code, after.json()[name]) == (200, first)
    assert [refusal(answer) for answer in late] == [(412, "changed", set())] * 2
    assert taster.client.get(address).json() == after.json()
    assert taster.client.delete(address, HTTP_IF_MATCH=after["ETag"]).status_code == 204


@pytest.mark.parametrize(
    "tag",
    [
        '"nonsense"',
        '"-1"',
        '"0"',
        '""',
        "17",
        'W/"0"',
        '"1", "2"',
        '"' + "9" * 30 + '"',
        '"\u0661"'.encode().decode("latin-1"),
    ],
)
def test_if_match_that_names_no_revision_never_matches(taster, place, tag):
    address = address_of("lot", place.lot.id)
    answers = [
        taster.client.patch(address, {"remarks": "x"}, HTTP_IF_MATCH=tag),
        taster.client.delete(address, HTTP_IF_MATCH=tag),
    ]

    assert [refusal(answer) for answer in answers] == [(412, "changed", set())] * 2
    assert taster.client.get(address).json()["revision"] == place.lot.revision


def test_if_match_star_asks_only_that_there_is_one(taster, place):
    assert taster.client.patch(address_of("lot", place.lot.id), {"remarks": "x"}, HTTP_IF_MATCH="*").status_code == 200


@every_type
def test_record_that_has_not_changed_is_not_sent_again(taster, place, type_name):
    row = getattr(place, type_name)
    for address in (address_of(type_name), address_of(type_name, row.id), address_of(type_name, row.id) + "history"):
        first = taster.client.get(address)
        again = taster.client.get(address, HTTP_IF_NONE_MATCH=first["ETag"])
        name, value, _ = EDITS[type_name]
        taster.client.patch(address_of(type_name, row.id), {name: value})
        after = taster.client.get(address, HTTP_IF_NONE_MATCH=first["ETag"])
        taster.client.patch(address_of(type_name, row.id), {name: getattr(row, name) or None})

        assert (first.status_code, again.status_code, again.content, after.status_code) == (200, 304, b"", 200)
        assert after["ETag"] != first["ETag"]


def test_read_with_an_if_match_that_fails_is_a_problem(taster, place):
    answer = taster.client.get(address_of("lot", place.lot.id), HTTP_IF_MATCH='"0"')

    assert refusal(answer) == (412, "changed", set())


@every_type
def test_deleted_record_is_gone_and_its_history_stays(taster, place, type_name):
    made = create(taster, type_name, place.new(type_name)).json()
    address, (name, first, second) = address_of(type_name, made["id"]), EDITS[type_name]
    taster.client.patch(address, {name: first})
    taster.client.patch(address, {name: second})
    deleted = taster.client.delete(address)
    gone = [taster.client.get(address), taster.client.patch(address, {name: first}), taster.client.delete(address)]
    history = taster.client.get(f"{address}history").json()

    assert (deleted.status_code, deleted.content) == (204, b"")
    assert [refusal(answer) for answer in gone] == [(404, "not-here", set())] * 3
    assert made["id"] not in [row["id"] for row in taster.client.get(address_of(type_name)).json()["results"]]
    current = {item["field"]: item["value"] for item in history["current"]}
    assert current == {**place.new(type_name), name: second, "deleted": True}
    overwritten = [(item["field"], item["value"], item["by"], item["device"]) for item in history["overwritten"]]
    sent_first = [(name, place.new(type_name)[name])] if name in place.new(type_name) else []
    assert [item[:2] for item in overwritten] == [(name, first), *sent_first]
    assert {item[2:] for item in overwritten} == {(str(taster.user.id), str(taster.device.id))}


def test_deletion_that_an_edit_undid_is_among_the_overwritten_values(taster, lexicon):
    lot = LotFactory(team=taster.team, by=taster.user)
    deleted = change("lot", lot.id, deleted=True, at="2026-03-04T13:00:00Z")
    edited = change("lot", lot.id, name="Back again", at="2026-03-04T14:00:00Z")
    assert verdict_names(sync(taster.client, [deleted, edited])) == ["applied"] * 2

    address = address_of("lot", lot.id)
    history = taster.client.get(f"{address}history").json()
    current = {item["field"]: item["value"] for item in history["current"]}
    assert taster.client.get(address).json()["name"] == current["name"] == "Back again"
    assert "deleted" not in current
    overwritten = [(item["field"], item["value"], item["at"]) for item in history["overwritten"]]
    assert overwritten[0] == ("deleted", True, "2026-03-04T13:00:00.000000Z")
    assert [field for field, _, _ in overwritten] == ["deleted", "name"]


@every_type
def test_deleted_record_keeps_its_id(taster, place, type_name):
    made = create(taster, type_name, place.new(type_name)).json()
    taster.client.delete(address_of(type_name, made["id"]))
    answer = taster.client.post(address_of(type_name), {"id": made["id"], **place.new(type_name)})

    assert refusal(answer) == (422, "invalid", {("id", "taken")})


@pytest.mark.parametrize("type_name", ["infusion", "note", "descriptor"])
def test_fixed_fields_cannot_change(taster, place, type_name):
    row = getattr(place, type_name)
    other = SessionFactory(lot=place.lot)
    fixed = {"key": "other_word"} if type_name == "descriptor" else {"session": str(other.id)}
    answer = taster.client.patch(address_of(type_name, row.id), fixed)

    [name] = fixed
    status, kind, problems = refusal(answer)
    assert (status, kind, (name, "fixed") in problems) == (422, "invalid", True)
    assert taster.client.get(address_of(type_name, row.id)).json()["revision"] == row.revision


def test_note_on_another_sessions_infusion_is_refused(taster, place):
    elsewhere = Place(taster)
    for answer in (
        taster.client.post(
            address_of("note"), {"id": str(uuid4()), **place.new("note", infusion=elsewhere.words["infusion"])}
        ),
        taster.client.patch(address_of("note", place.note.id), {"infusion": elsewhere.words["infusion"]}),
    ):
        assert refusal(answer) == (422, "invalid", {("infusion", "other_session")})


def test_infusion_with_a_taken_number_is_refused(taster, place):
    answer = taster.client.post(address_of("infusion"), {"id": str(uuid4()), **place.new("infusion", number=1)})

    assert refusal(answer) == (422, "invalid", {("number", "taken")})


def test_infusion_number_is_free_again_after_deletion(taster, place):
    taster.client.delete(address_of("infusion", place.infusion.id))

    assert create(taster, "infusion", place.new("infusion", number=1)).json()["number"] == 1


def test_descriptor_with_a_taken_key_is_refused(taster, place, lexicon):
    for key in (place.descriptor.key, "astringency"):
        answer = taster.client.post(address_of("descriptor"), {"id": str(uuid4()), "key": key, "label": "mine"})

        assert refusal(answer) == (422, "invalid", {("key", "taken")})


def test_lot_bought_from_itself_is_refused(buyer, place):
    itself = str(uuid4())
    answers = [
        buyer.client.post(address_of("lot"), {"id": itself, **place.new("lot", from_lot=itself)}),
        buyer.client.patch(address_of("lot", place.lot.id), {"from_lot": str(place.lot.id)}),
    ]

    assert [refusal(answer) for answer in answers] == [(422, "invalid", {("from_lot", "itself")})] * 2


def test_builtin_descriptors_are_read_and_not_written(taster, lexicon):
    built_in = taster.client.get("/api/v1/descriptors/?key=astringency").json()["results"][0]
    address = address_of("descriptor", built_in["id"])
    answers = [taster.client.patch(address, {"label": "mine"}), taster.client.delete(address)]

    assert (built_in["built_in"], built_in["by"]) == (True, None)
    assert [refusal(answer)[:2] for answer in answers] == [(403, "not-allowed")] * 2
    assert taster.client.get(address).json() == built_in


def test_child_of_a_deleted_session_cannot_be_made_or_seen(taster, place):
    taster.client.delete(address_of("session", place.session.id))
    for type_name in ("infusion", "note"):
        sent = {"id": str(uuid4()), **place.new(type_name)}
        answer = taster.client.post(address_of(type_name), sent)

        assert refusal(answer) == (422, "invalid", {("session", "unknown_parent")})
        assert not MODELS[type_name]._default_manager.filter(id=sent["id"]).exists()
        assert taster.client.get(address_of(type_name, getattr(place, type_name).id)).status_code == 404
        assert taster.client.get(address_of(type_name)).json()["results"] == []


def test_note_keeps_its_session_list_complete_with_builtin_words(taster, place, lexicon):
    made = create(taster, "note", place.new("note", descriptor="astringency", intensity=4)).json()
    answer = taster.client.get(f"/api/v1/notes/?session={place.words['session']}&descriptor=astringency").json()

    assert answer["results"] == [made]


def test_rest_edit_is_the_latest_word_even_after_a_phone_ahead_of_time(taster, place):
    ahead = change("lot", place.lot.id, at="2026-03-05T00:00:00Z", remarks="from the phone")
    assert verdict_names(sync(taster.client, [ahead])) == ["applied"]
    taster.client.patch(address_of("lot", place.lot.id), {"remarks": "from the desk"})

    assert verdict_names(sync(taster.client, [ahead])) == ["unchanged"]
    assert taster.client.get(address_of("lot", place.lot.id)).json()["remarks"] == "from the desk"


@pytest.mark.parametrize("method", ["put", "post"])
def test_item_takes_no_other_method(taster, place, method):
    assert refusal(getattr(taster.client, method)(address_of("lot", place.lot.id), {})) == (
        405,
        "method-not-allowed",
        set(),
    )
