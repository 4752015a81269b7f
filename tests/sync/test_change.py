"""Reading one change that a phone sends: its stamp, and what is wrong with a malformed one. No database."""

from datetime import UTC, datetime, timedelta
from uuid import UUID

import pytest

from lots.merge import Stamp
from tastings.actions.push.change import Change, Verdict, read_change, refused
from teams.errors import Problem

NOW = datetime(2026, 3, 4, 12, 30, tzinfo=UTC)
DEVICE, BY = "00000000-0000-7000-8000-00000000000a", "00000000-0000-7000-8000-00000000000b"
LOT = UUID("01990000-0000-7000-8000-0000000000a1")
SENT = {"type": "lot", "id": str(LOT), "at": "2026-03-04T12:00:00Z", "fields": {"name": "Mist Ridge"}}


def read(**members):
    """Read a good change with these members instead; None leaves one out."""
    sent = {name: value for name, value in (SENT | members).items() if value is not None}
    return read_change(sent, device=DEVICE, by=BY, now=NOW)


def problems(found):
    assert found.verdict == "refused"
    return [(one.field, one.code, one.detail) for one in found.problems]


def test_change_has_the_stamp_of_its_device_author_and_number():
    stamp = Stamp("2026-03-04T12:00:00.000000Z", DEVICE, BY, seq=7)
    assert read(seq=7) == Change(type="lot", id=LOT, fields={"name": "Mist Ridge"}, stamp=stamp)
    assert read().stamp == stamp._replace(seq=0)
    assert read(at="2026-03-04T13:00:00+01:00").stamp == stamp._replace(seq=0)


@pytest.mark.parametrize(("ahead", "is_taken"), [({"minutes": 2}, True), ({"minutes": 2, "microseconds": 1}, False)])
def test_moment_more_than_two_minutes_ahead_becomes_the_servers_with_the_reported_one_beside_it(ahead, is_taken):
    reported = (NOW + timedelta(**ahead)).isoformat(timespec="microseconds").replace("+00:00", "Z")
    servers = Stamp("2026-03-04T12:30:00.000000Z", DEVICE, BY, reported, 3)
    assert read(at=reported, seq=3).stamp == (Stamp(reported, DEVICE, BY, seq=3) if is_taken else servers)


@pytest.mark.parametrize("seq", [1, 2**53])
def test_whole_numbers_that_a_double_holds_are_taken(seq):
    """IEEE 754: up to 2**53 a double, JavaScript's only number, holds each whole number."""
    assert read(seq=seq).stamp.seq == seq


@pytest.mark.parametrize("seq", [0, -1, 1.0, "1", True, 2**53 + 1])
def test_other_numbers_are_refused(seq):
    sentence = "must be a whole number from 1 that rises with each change of a device"
    assert problems(read(seq=seq)) == [("seq", "seq", sentence)]


def test_deletion_carries_no_fields():
    assert (read(deleted=True, fields={}).fields, read(deleted=True, fields=None).fields) == ({"deleted": True},) * 2
    assert read(deleted=False) == read()
    assert (read(deleted=True, fields=None).deletes, read().deletes) == (True, False)


@pytest.mark.parametrize(
    ("members", "expected"),
    [
        ({"deleted": True}, ("fields", "with_deleted", "a deletion carries no fields")),
        ({"deleted": 1}, ("deleted", "type", "must be true or false")),
        ({"fields": []}, ("fields", "type", "must be an object")),
        ({"fields": None}, ("fields", "type", "must be an object")),
        ({"type": "tea"}, ("type", "choice", "must be one of descriptor, lot, pot, session, infusion, note")),
        ({"type": 1}, ("type", "choice", "must be one of descriptor, lot, pot, session, infusion, note")),
        ({"id": "here"}, ("id", "id", "must be a UUID")),
        ({"place": "here"}, ("place", "unknown_field", "is not part of a change")),
        ({"p" * 81: 1}, ("p" * 80, "unknown_field", "is not part of a change")),
        ({"fields": {"place": "here"}}, ("place", "unknown_field", "is not a field of lot records")),
    ],
)
def test_what_is_wrong_is_named(members, expected):
    assert problems(read(**members)) == [expected]


def test_everything_wrong_is_named_at_once_and_type_and_id_are_repeated():
    found = read(type="tea", id="here", at="noon", seq=None, fields=None, place=1)
    assert [field for field, _, _ in problems(found)] == ["place", "type", "id", "at", "fields"]
    assert (found.type, found.id, found.revision) == ("tea", "here", None)
    unreadable = read(type=["lot"], id="i" * 81)
    assert (unreadable.type, unreadable.id) == ("", "")
    assert read(id="i" * 80).id == "i" * 80


def test_what_is_no_object_has_neither_type_nor_id():
    found = read_change(["lot"], device=DEVICE, by=BY, now=NOW)
    assert problems(found) == [("", "type", "must be an object")]
    assert (found.type, found.id) == ("", "")


def test_verdict_names_lost_fields_only_where_there_are_some():
    made = refused(read(), [Problem("name", "type", "must be a text")])
    assert made.as_json() == {
        "type": "lot",
        "id": str(LOT),
        "verdict": "refused",
        "revision": None,
        "problems": [{"field": "name", "code": "type", "detail": "must be a text"}],
    }
    lost = [{"field": "name", "value": "Mist", "at": "2026-03-04T12:00:00.000000Z", "by": BY}]
    merged = Verdict(type="lot", id=str(LOT), verdict="merged", revision=4, lost=lost)
    assert merged.as_json() == {
        "type": "lot", "id": str(LOT), "verdict": "merged", "revision": 4, "problems": [], "lost": lost,
    }  # fmt: skip
