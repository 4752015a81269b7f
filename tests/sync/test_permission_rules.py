"""Which changes a role may not make, and in which words they are refused. No database."""

import pytest

from lots.merge import LostValue, MergeOutcome
from tastings.actions.push.change import Change
from tastings.actions.push.permissions import is_repeat, not_yours, without_purchase_repeats
from tests.sync.push_state import FREE, INFUSION, LOT, ME, NOTE, OTHER, SESSION, STAMP, WORD, state_with

ONLY_READS = [("", "not_allowed", "your role only reads")]
OF_ANOTHER = [("session", "not_yours", "only its taster, a buyer or an owner changes this")]
MADE_BY_ANOTHER = [("id", "not_yours", "only who made it, a buyer or an owner changes this")]
BOUGHT = [("status", "not_yours", "is no sample any more: a buyer or an owner changes it")]
DELETION = {"deleted": True}
PURCHASE = {
    "status": "bought",
    "price_per_kg": 90,
    "currency": "EUR",
    "quantity_g": 500,
    "arrived_on": "2026-03-01",
    "from_lot": str(OTHER),
}


def problems(kind, record, fields, *, role="taster", state=None):
    state = state or state_with(role)
    change = Change(type=kind, id=record, fields=fields, stamp=STAMP)
    return [(p.field, p.code, p.detail) for p in not_yours(change, state.record_of(change), state)]


@pytest.mark.parametrize(
    ("role", "kind", "record", "fields", "expected"),
    [
        ("viewer", "lot", FREE, {"name": "x"}, ONLY_READS),
        ("viewer", "session", SESSION, DELETION, ONLY_READS),
        ("buyer", "note", NOTE, DELETION, []),
        ("owner", "lot", LOT, PURCHASE, []),
        ("taster", "note", NOTE, {"text": "stone"}, OF_ANOTHER),
        ("taster", "infusion", INFUSION, DELETION, OF_ANOTHER),
        ("taster", "infusion", FREE, {"session": str(SESSION)}, OF_ANOTHER),
        ("taster", "infusion", FREE, {"session": str(OTHER)}, []),  # unknown: the checks say so
        ("taster", "note", FREE, {}, []),
        ("taster", "session", SESSION, {"leaf_g": 6}, MADE_BY_ANOTHER),
        ("taster", "session", FREE, {"leaf_g": 6}, []),
        ("taster", "descriptor", WORD, {"label": "slate"}, MADE_BY_ANOTHER),
        ("taster", "lot", LOT, {"name": "x"}, MADE_BY_ANOTHER),
        ("taster", "lot", FREE, {"name": "x", "status": "sample", "price_per_kg": None}, []),
        (
            "taster",
            "lot",
            FREE,
            {"name": "x", **PURCHASE},
            [(name, "not_yours", "is set by a buyer or an owner") for name in PURCHASE],
        ),
        (
            "taster",
            "lot",
            FREE,
            {"status": "sample", "from_lot": "x"},
            [("from_lot", "not_yours", "is set by a buyer or an owner")],
        ),
    ],
)
def test_a_role_makes_these_changes(role, kind, record, fields, expected):
    assert problems(kind, record, fields, role=role) == expected


def test_a_taster_changes_their_own():
    state = state_with("taster")
    state.records["session"][SESSION].row.taster_id = ME
    state.records["descriptor"][WORD].row.author_id = ME
    lot = state.records["lot"][LOT]
    lot.row.author_id = ME
    for kind, record in (("session", SESSION), ("infusion", INFUSION), ("note", NOTE), ("descriptor", WORD)):
        assert problems(kind, record, DELETION, state=state) == []
    lot.current.values |= {"status": "sample", "price_per_kg": 90}
    assert problems("lot", LOT, {"name": "x", "price_per_kg": 90}, state=state) == []
    lot.current.values["status"] = "retired"
    assert problems("lot", LOT, {"name": "x"}, state=state) == BOUGHT


def test_a_session_that_a_stored_note_names_decides_not_one_that_the_change_names():
    assert problems("note", NOTE, {"session": str(OTHER)}) == OF_ANOTHER


def left(fields, *, role="taster", kind="lot", stamp=STAMP, state=None):
    """Return which fields are left of a change."""
    state = state or state_with(role)
    change = Change(type=kind, id=LOT if kind == "lot" else SESSION, fields=fields, stamp=stamp)
    return list(without_purchase_repeats(change, state.record_of(change), state).fields)


def test_what_a_taster_repeats_of_a_purchase_is_left_out():
    state = state_with("taster")
    state.records["lot"][LOT].current.values |= {"status": "bought", "name": "Ridge"}
    assert left({"status": "bought", "name": "Ridge", "price_per_kg": 90}, state=state) == ["name", "price_per_kg"]
    assert left({"status": "sample", "currency": None}, state=state) == ["status"]
    assert left({"lot": str(LOT), "status": None}, kind="session", state=state) == ["lot", "status"]


def test_it_stays_left_out_when_its_sender_is_a_buyer_by_then():
    """The number of the change identifies it among the stamps that it left."""
    state = state_with("buyer")
    lot = state.records["lot"][LOT]
    lot.current.values["status"] = "bought"
    sent, numbered = {"status": "sample", "remarks": "round"}, STAMP._replace(seq=2)
    assert left(sent, state=state, stamp=numbered) == ["status", "remarks"]
    lot.current.stamps |= {"remarks": numbered}
    assert left(sent, state=state, stamp=numbered) == ["remarks"]
    lot.current.stamps |= {"status": numbered}
    assert left(sent, state=state, stamp=numbered) == ["status", "remarks"]
    for other in (None, STAMP):  # changes without a number cannot be told apart
        assert left({"price_per_kg": 90}, state=state, stamp=other) == ["price_per_kg"]


@pytest.mark.parametrize(
    ("stamped", "lost", "before", "expected"),
    [
        (False, (), set(), True),
        (True, (), set(), False),
        (False, ("remarks",), {"remarks"}, True),
        (False, ("remarks", "name"), {"remarks"}, False),
    ],
)
def test_a_repeat_brings_nothing_that_is_not_in_the_record_or_its_history(stamped, lost, before, expected):
    outcome = MergeOutcome(stamped=stamped, lost=[LostValue(name, "x", STAMP) for name in lost], outdated=False)
    assert is_repeat(outcome, lost_before=before) is expected
