"""The demo's story: the same every time, fit for the server, nothing of it in the future."""

import json
from collections import Counter
from datetime import date, datetime
from pathlib import Path
from uuid import UUID

import pytest

from config.demo.company import HARBOUR, PASSWORD, PEOPLE, TASTERS, TEAM
from config.demo.lots import LOTS
from config.demo.sessions import FIRST_ON, demo_sessions
from config.demo.story import demo_device_id, messages
from lots.schema import clean_fields, record_faults
from lots.schemas import LOT
from tastings.schemas import INFUSION, NOTE, POT, SESSION

ROOT = Path(__file__).resolve().parents[2]
SCHEMAS = {schema.type: schema for schema in (LOT, POT, SESSION, INFUSION, NOTE)}
TEAM_ID = UUID("7f000001-0000-4000-8000-000000000001")
OTHER_TEAM_ID = UUID("7f000001-0000-4000-8000-000000000002")
SHOP_IDS = {person.username: str(UUID(int=index)) for index, person in enumerate(PEOPLE, 1)}


def all_messages(team: UUID = TEAM_ID):
    return list(messages(team, shops=SHOP_IDS))


@pytest.fixture(scope="module")
def story():
    return all_messages()


@pytest.fixture(scope="module")
def changes(story):
    return [change for message in story for change in message.changes]


def records(changes, type_name):
    """Return the records of a type as all changes to them together make them, by id."""
    found = {}
    for change in changes:
        if change["type"] == type_name:
            found.setdefault(change["id"], {}).update(change["fields"])
    return found


def test_story_is_the_same_on_every_run(story):
    assert all_messages() == story


def test_story_of_another_team_shares_no_id(changes):
    others = {change["id"] for message in all_messages(OTHER_TEAM_ID) for change in message.changes}

    assert others & {change["id"] for change in changes} == set()


def test_every_change_fits_its_shape(changes):
    faults = [(change["id"], clean_fields(SCHEMAS[change["type"]], change["fields"])[1]) for change in changes]

    assert [found for found in faults if found[1]] == []


def test_every_record_is_whole(changes):
    for type_name, schema in SCHEMAS.items():
        for record in records(changes, type_name).values():
            assert list(record_faults(schema, record)) == []


def test_no_text_is_empty(changes):
    """An unknown text travels as null, so that what comes back is what was sent."""
    assert [change for change in changes if "" in change["fields"].values()] == []


def test_ids_name_one_record_each(changes):
    edits = Counter((change["type"], change["id"]) for change in changes)
    types = Counter(record for _, record in edits)

    # a session is begun and ended by two edits; everything else is written once
    assert {(kind, n) for (kind, _), n in edits.items()} == {
        ("lot", 1), ("pot", 1), ("session", 2), ("infusion", 1), ("note", 1)
    }  # fmt: skip
    assert set(types.values()) == {1}


def test_edits_of_one_record_have_moments_of_their_own(changes):
    stamps = [(change["id"], change["at"]) for change in changes]

    assert len(set(stamps)) == len(stamps)


def test_nothing_lies_outside_the_story(changes):
    moments = [datetime.fromisoformat(str(change["at"])) for change in changes if change["type"] != "lot"]

    assert min(moments).date() >= FIRST_ON
    assert max(moments).date() <= date(2026, 9, 30)


def test_story_is_as_large_as_it_says(story, changes):
    sessions = records(changes, "session")

    assert (len(LOTS), len({person.shop for person in PEOPLE}), len(TASTERS)) == (12, 3, 5)
    assert len(sessions) == 60
    assert len(story) == 61
    assert {person.role for person in PEOPLE} == {"owner", "buyer", "taster", "viewer"}
    assert sum(bool(session["private"]) for session in sessions.values()) == 1
    assert {session["ending"] for session in sessions.values()} == {"spent", "stopped"}
    assert len({session["vessel_material"] for session in sessions.values()}) >= 4
    assert {note["moment"] for note in records(changes, "note").values()} >= {
        "dry_leaf", "warmed_leaf", "wet_leaf", "mouth", "finish", "body",
    }  # fmt: skip


def test_sessions_that_stopped_say_how_many_more(changes):
    for session in records(changes, "session").values():
        assert (session["more_low"] is not None) == (session["ending"] == "stopped")


def test_each_message_is_one_sync_body(story):
    """At most 1,000 changes and 2 MiB, as the public contract has it."""
    assert max(len(message.changes) for message in story) <= 1000
    assert max(len(json.dumps(message.changes)) for message in story) < 2 * 1024 * 1024


def test_parents_come_before_their_children(story):
    known = set()
    for message in story:
        for change in message.changes:
            fields = change["fields"]
            for name in ("lot", "session", "infusion", "from_lot"):
                if fields.get(name) is not None and change["type"] != name:
                    assert fields[name] in known
            known.add(change["id"])


def test_only_the_taster_of_a_session_writes_it(story):
    assert {message.person.role for message in story} <= {"owner", "buyer", "taster"}
    assert len({demo_device_id(TEAM_ID, person) for person in PEOPLE}) == len(PEOPLE)


def test_descriptors_are_built_in_words(changes):
    lexicon = json.loads((ROOT / "tastings/data/lexicon.json").read_text("utf-8"))
    keys = {word["key"] for word in lexicon["descriptors"]}

    assert {note["descriptor"] for note in records(changes, "note").values()} <= keys


def test_a_kettle_cools_once(changes):
    lot = next(lot for lot in LOTS if lot.handle == "cliff 3")
    demo_session = list(demo_sessions(lot))[4]
    kettles = [pour.kettle_c for pour in demo_session.brew.pours if pour.number > 0]

    assert kettles[3] == 90
    assert min(kettles[:3] + kettles[4:]) >= 97
    assert demo_session.person.shop is HARBOUR


def test_flavours_change_through_a_session(changes):
    infusions = records(changes, "infusion")
    sessions = records(changes, "session")
    lot = next(
        key for key, lot in records(changes, "lot").items() if lot["name"].startswith("Cliff oolong no. 3, full")
    )
    early, late = Counter(), Counter()
    for note in records(changes, "note").values():
        if note["infusion"] and note.get("intensity") is None and sessions[note["session"]]["lot"] == lot:
            (early if infusions[note["infusion"]]["number"] <= 3 else late)[note["descriptor"]] += 1

    assert early["charcoal"] > late["charcoal"]
    assert late["wet_stone"] > early["wet_stone"]


def test_names_say_that_they_are_invented():
    assert "(invented)" in TEAM
    assert all(person.username.startswith("demo-") for person in PEOPLE)


def test_password_satisfies_the_servers_own_rules(settings):
    from django.contrib.auth.password_validation import validate_password  # noqa: PLC0415 - needs the settings

    from teams.models import User  # noqa: PLC0415 - needs the settings

    for person in PEOPLE:
        validate_password(PASSWORD, User(username=person.username))
