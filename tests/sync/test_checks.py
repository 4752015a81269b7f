"""What is refused, and in which words: checks of a change against what a push has read. No database."""

from datetime import timedelta
from uuid import UUID

import pytest

from tastings.actions.push.change import Change
from tastings.actions.push.checks import NEW, find_problems
from tastings.actions.push.state import MergeTarget, StoredDescriptor
from tests.sync.push_state import (
    BREW,
    CUP,
    FREE,
    INFUSION,
    LOT,
    ME,
    NOTE,
    NOW,
    OLDER,
    OTHER,
    SAMPLE,
    SESSION,
    SHOP,
    STAMP,
    STORED,
    WORD,
    pending,
    state_with,
)


def problems(kind, record, fields, *, expected=None, state=None):
    """Return the problems of a change as field, code and sentence."""
    state = state or state_with()
    change = Change(type=kind, id=record, fields=fields, stamp=STAMP, expected=expected)
    about = state.record_of(change)
    merged, _ = about.try_merge(change, device=UUID(int=9), by=ME, now=NOW)
    return [(p.field, p.code, p.detail) for p in find_problems(change, about, merged, state=state, now=NOW)]


DELETION = {"deleted": True}
NO_LOT, NO_SESSION = (("id", "unknown_record", f"there is no such {kind} here") for kind in ("lot", "session"))
OF_SESSION, DESCRIPTOR_OR_TEXT = {"session": str(SESSION)}, "a new record must have descriptor or text"
TAKEN = ("id", "taken", "choose another id")


def unknown(field, kind):
    return (field, "unknown_parent", f"the server has no such {kind} yet")


@pytest.mark.parametrize(
    ("kind", "record", "fields", "expected"),
    [
        ("lot", FREE, DELETION, [NO_LOT]),
        ("session", FREE, DELETION, [NO_SESSION]),
        ("lot", LOT, DELETION, []),
        ("lot", FREE, {"kind": "oolong"}, [("name", "required", "a new record must have this")]),
        ("lot", LOT, {"name": None}, [("name", "required", "a new record must have this")]),
        ("lot", LOT, {"remarks": "round"}, []),
        ("note", FREE, {**OF_SESSION, "moment": "mouth"}, [("descriptor", "required", DESCRIPTOR_OR_TEXT)]),
        ("note", NOTE, {"text": None}, []),  # another's edit may have left the descriptor
        # what never changes
        (
            "note",
            NOTE,
            {"session": str(FREE)},
            [("session", "fixed", "cannot change once it is set"), unknown("session", "session")],
        ),
        ("note", NOTE, {"session": str(SESSION)}, []),
        ("descriptor", WORD, {"key": "slate"}, [("key", "fixed", "cannot change once it is set")]),
        # what is referred to
        ("note", NOTE, {"descriptor": "wet_slate"}, []),
        (
            "note",
            NOTE,
            {"descriptor": "slate", "infusion": str(FREE)},
            [unknown("infusion", "infusion"), unknown("descriptor", "descriptor")],
        ),
        ("session", SESSION, {"shop": str(SHOP), "pot": None, "lot": str(OLDER)}, []),
        (
            "session",
            SESSION,
            {"shop": str(FREE), "pot": str(FREE), "lot": str(FREE)},
            [unknown("lot", "lot"), unknown("shop", "shop"), unknown("pot", "pot")],
        ),
        ("session", FREE, {**BREW, "flight_cup": str(CUP)}, []),
        ("session", FREE, {**BREW, "flight_cup": str(OTHER)}, [unknown("flight_cup", "flight_cup")]),
        # samples
        ("lot", FREE, {"name": "x", "kind": "oolong", "from_lot": str(OLDER)}, []),
        ("lot", LOT, {"from_lot": str(LOT)}, [("from_lot", "itself", "a lot cannot refer to itself")]),
        ("lot", SAMPLE, {"from_lot": str(LOT)}, [("from_lot", "circle", "leads back to this lot")]),
        ("lot", SAMPLE, {"from_lot": str(OLDER)}, []),
        # a cup's lot
        ("session", SESSION, {"lot": str(SAMPLE)}, []),
        (
            "session",
            FREE,
            {**BREW, "flight_cup": str(CUP), "lot": str(LOT)},
            [("lot", "not_allowed", "is set when the flight is revealed")],
        ),
        # of another's session
        ("session", SESSION, {"private": True}, [("private", "not_allowed", "only the taster may change this")]),
        ("session", SESSION, {"private": False}, []),
        ("session", FREE, {**BREW, "lot": str(LOT), "private": True}, []),
        # keys
        (
            "descriptor",
            FREE,
            {"key": "wet_slate", "label": "slate"},
            [("key", "taken", "there is a descriptor with this key already")],
        ),
        ("descriptor", FREE, {"key": "slate", "label": "slate"}, []),
        ("descriptor", WORD, {"label": "slate"}, []),
    ],
)
def test_a_change_is_refused_for_this_reason(kind, record, fields, expected):
    assert problems(kind, record, fields) == expected


def test_all_that_is_wrong_with_a_change_is_named_at_once():
    found = problems("lot", SAMPLE, {"name": None, "from_lot": str(LOT)})
    assert [code for _, code, _ in found] == ["required", "circle"]


def test_a_built_in_descriptor_is_changed_by_nobody():
    refused = [("id", "not_allowed", "a built-in descriptor cannot be changed")]
    for fields in ({"label": "slate"}, DELETION):
        assert problems("descriptor", WORD, fields, state=state_with(built_in={WORD})) == refused


@pytest.mark.parametrize(
    ("expected", "problem"),
    [
        (7, []),
        (None, []),
        (6, [("", "changed", "the lot is at revision 7")]),
        (NEW, [("id", "taken", "there is a lot with this id already")]),
    ],
)
def test_a_change_of_another_revision_is_refused(expected, problem):
    assert problems("lot", LOT, {"remarks": "round"}, expected=expected) == problem


def test_an_id_is_used_once_in_the_whole_installation():
    new = {"name": "x", "kind": "oolong"}
    assert problems("lot", FREE, new, state=state_with(used_ids={FREE})) == [TAKEN]
    assert problems("lot", SESSION, new, state=state_with(ids_of_several_types=True)) == [TAKEN]
    assert problems("lot", FREE, new, state=state_with(ids_of_several_types=True)) == []


def test_a_note_belongs_to_an_infusion_of_its_own_session():
    state = state_with()
    state.records["session"][FREE] = pending("session", FREE, STORED["session"][SESSION])
    new = {"session": str(FREE), "infusion": str(INFUSION), "moment": "mouth", "text": "stone"}
    refused = [("infusion", "other_session", "is an infusion of another session")]
    assert problems("note", OTHER, new, state=state) == refused
    assert problems("note", OTHER, {**new, "session": str(SESSION)}, state=state) == []


@pytest.mark.parametrize(("late", "is_taken"), [({"days": 2}, True), ({"days": 2, "microseconds": 1}, False)])
def test_a_session_begins_at_most_two_days_ahead(late, is_taken):
    started_at = (NOW + timedelta(**late)).isoformat()
    expected = [] if is_taken else [("started_at", "future", "lies more than two days ahead")]
    state = state_with()
    assert problems("session", SESSION, {"started_at": started_at}, state=state) == expected
    state.records["session"][SESSION].current.values["started_at"] = started_at  # as stored once, by another clock
    assert problems("session", SESSION, {"started_at": started_at}, state=state) == []


def test_a_stored_session_may_name_its_cup_after_the_flight_is_out_of_reach():
    state = state_with(cups={})
    blind = pending("session", SESSION, {**BREW, "lot": None, "flight_cup": str(CUP), "private": False})
    state.records["session"][SESSION] = blind
    assert problems("session", SESSION, {"flight_cup": str(CUP), "remarks": "cold"}, state=state) == []
    refused = [("lot", "not_allowed", "is set when the flight is revealed")]
    assert problems("session", SESSION, {"lot": str(LOT)}, state=state) == refused
    blind.current.values["lot"] = str(LOT)  # revealed
    assert problems("session", SESSION, {"remarks": "warm"}, state=state) == []


def test_the_taster_makes_a_session_private():
    state = state_with()
    state.records["session"][SESSION].row.taster_id = ME
    assert problems("session", SESSION, {"private": True}, state=state) == []


def test_samples_are_followed_beyond_what_a_push_has_read():
    state = state_with(samples={OTHER: SAMPLE, FREE: None})
    state.records["lot"][OLDER].current.values["from_lot"] = str(OTHER)
    assert [code for _, code, _ in problems("lot", SAMPLE, {"from_lot": str(OLDER)}, state=state)] == ["circle"]
    beyond = state_with(samples={OTHER: FREE, FREE: OTHER})  # a circle of which the lot is no part
    assert [code for _, code, _ in problems("lot", LOT, {"from_lot": str(OTHER)}, state=beyond)][-1:] == ["circle"]
    state.records["lot"][OLDER].current.values["from_lot"] = str(FREE)
    assert problems("lot", SAMPLE, {"from_lot": str(OLDER)}, state=state) == []


def test_a_key_is_free_once_its_word_is_deleted():
    def with_stored(removed):
        return state_with(descriptors={"slate": [StoredDescriptor(OTHER, removed, None)]})

    new = {"key": "slate", "label": "slate"}
    assert [code for _, code, _ in problems("descriptor", FREE, new, state=with_stored(removed=False))] == ["taken"]
    assert problems("descriptor", FREE, new, state=with_stored(removed=True)) == []
    assert problems("descriptor", OTHER, new, state=with_stored(removed=False)) == []


def test_a_key_means_the_live_word_then_the_target_of_a_merge_then_a_deleted_word():
    target = MergeTarget(OTHER, "slate")
    merged, gone = StoredDescriptor(FREE, True, target), StoredDescriptor(LOT, True, None)
    words = {"slate": [StoredDescriptor(OTHER, False, None)], "wet_stone": [merged], "gone": [gone]}
    state = state_with(descriptors=words)
    meant = {"slate": OTHER, "wet_stone": OTHER, "gone": LOT, "wet_slate": WORD, "unknown": None}
    assert {key: state.descriptor_id(key) for key in meant} == meant
    assert {key: state.merge_target(key) for key in meant} == {**dict.fromkeys(meant), "wet_stone": target}

    state.descriptors = {"wet_stone": [StoredDescriptor(SAMPLE, False, None), merged], "wet_slate": [merged]}
    assert (state.descriptor_id("wet_stone"), state.merge_target("wet_stone")) == (SAMPLE, None)
    assert (state.descriptor_id("wet_slate"), state.merge_target("wet_slate")) == (WORD, None)  # live in this push
    state.records["descriptor"][WORD].current.stamps["deleted"] = STAMP  # deleted
    assert (state.descriptor_id("wet_slate"), state.merge_target("wet_slate")) == (OTHER, target)
    state.descriptors = {"wet_slate": [StoredDescriptor(OTHER, False, None)]}
    assert state.descriptor_id("wet_slate") == OTHER
    state.descriptors = {}
    assert state.descriptor_id("wet_slate") == WORD
