"""Laws of the merge: the outcome depends on the set of edits alone."""

import json
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lots.merge import DELETED, LostValue, Stamp, StampedRecord, merge, pack, unpack

MOMENTS = [f"2026-03-04T10:00:0{second}.000000Z" for second in range(4)]
DEVICES = ["00000000-0000-7000-8000-00000000000a", "00000000-0000-7000-8000-00000000000b"]
stamps = st.builds(Stamp, st.sampled_from(MOMENTS), st.sampled_from(DEVICES), st.just("ina"), st.just(""))
values = st.sampled_from([None, 0, 1, 2.5, "thin", "round", True])
edits = st.lists(
    st.tuples(
        st.one_of(
            st.dictionaries(st.sampled_from(["steep_s", "remarks"]), values, min_size=1), st.just({DELETED: True})
        ),
        stamps,
    ),
    max_size=4,
)


def play(order):
    record, lost = StampedRecord(), set()
    for fields, stamp in order:
        lost |= {key_of(item) for item in merge(record, fields, stamp).lost}
    return record, lost


def key_of(item: LostValue):
    return item.field, json.dumps(item.value)


@given(edits)
def test_every_order_of_edits_ends_in_the_same_record(sent):
    first, _ = play(sent)
    for order in permutations(sent):
        record, _ = play(order)
        assert (record, record.removed) == (first, first.removed)


@given(edits)
def test_merging_every_edit_twice_changes_nothing(sent):
    once, lost_once = play(sent)
    twice, lost_twice = play(sent + sent)
    assert twice == once
    assert lost_twice >= lost_once


@given(edits)
def test_every_value_is_current_or_lost_and_never_forgotten(sent):
    record, lost = play(sent)
    for fields, _ in sent:
        for name, value in fields.items():
            current = record.values[name] == value and type(record.values[name]) is type(value)
            assert current or (name, json.dumps(value)) in lost


@given(edits)
def test_stored_stamps_read_back_the_same(sent):
    record, _ = play(sent)
    assert unpack(json.loads(json.dumps(pack(record.stamps)))) == record.stamps


def test_later_wins_and_a_tie_goes_to_the_greater_device():
    record = StampedRecord()
    merge(record, {"steep_s": 10}, Stamp(MOMENTS[1], DEVICES[0], "ina"))
    assert merge(record, {"steep_s": 20}, Stamp(MOMENTS[1], DEVICES[1], "bo")).stamped
    assert record.values["steep_s"] == 20
    outcome = merge(record, {"steep_s": 30}, Stamp(MOMENTS[0], DEVICES[1], "bo"))
    assert (record.values["steep_s"], outcome.outdated, outcome.stamped) == (20, True, False)


def test_an_edit_from_a_clock_ahead_is_recognised_when_it_comes_again():
    record = StampedRecord()
    merge(record, {"steep_s": 10}, Stamp(MOMENTS[0], DEVICES[0], "ina", reported="2027-01-01T00:00:00.000000Z"))
    again = merge(record, {"steep_s": 10}, Stamp(MOMENTS[1], DEVICES[0], "ina", reported="2027-01-01T00:00:00.000000Z"))
    assert (again.stamped, again.outdated, again.lost) == (False, False, ())


def test_a_later_field_edit_brings_a_deleted_record_back():
    record = StampedRecord()
    merge(record, {"steep_s": 10}, Stamp(MOMENTS[0], DEVICES[0], "ina"))
    merge(record, {DELETED: True}, Stamp(MOMENTS[1], DEVICES[0], "ina"))
    assert record.removed
    merge(record, {"remarks": "kept"}, Stamp(MOMENTS[2], DEVICES[1], "bo"))
    assert not record.removed
    assert record.values["steep_s"] == 10


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_a_deletion_and_an_edit_of_one_stamp_delete(order):
    record, stamp = StampedRecord(), Stamp(MOMENTS[0], DEVICES[0], "ina")
    edits = ({"steep_s": 10}, {DELETED: True})
    for i in order:
        merge(record, edits[i], stamp)
    assert record.removed
    assert record.values["steep_s"] == 10


@pytest.mark.parametrize("order", list(permutations(range(3))))
def test_edits_of_one_moment_and_device_go_by_what_the_clock_reported(order):
    record = StampedRecord()
    reported = ["", "2027-01-01T00:00:00.000000Z", "2028-01-01T00:00:00.000000Z"]
    values = [30, 20, 10]  # the greatest value is not the one that wins
    for i in order:
        merge(record, {"steep_s": values[i]}, Stamp(MOMENTS[0], DEVICES[0], "ina", reported[i]))
    assert (record.values["steep_s"], record.stamps["steep_s"].reported) == (10, reported[2])


def test_a_deletion_of_a_later_report_deletes():
    record, ahead = StampedRecord(), "2027-01-01T00:00:00.000000Z"
    merge(record, {"steep_s": 10}, Stamp(MOMENTS[0], DEVICES[0], "ina"))
    merge(record, {DELETED: True}, Stamp(MOMENTS[0], DEVICES[0], "ina", ahead))
    assert record.removed
    merge(record, {"steep_s": 20}, Stamp(MOMENTS[0], DEVICES[0], "ina", "2028-01-01T00:00:00.000000Z"))
    assert not record.removed


def test_true_and_one_are_two_values():
    record = StampedRecord()
    merge(record, {"tasted": True}, Stamp(MOMENTS[0], DEVICES[0], "ina"))
    outcome = merge(record, {"tasted": 1}, Stamp(MOMENTS[1], DEVICES[0], "ina"))
    assert outcome.lost == (LostValue("tasted", True, Stamp(MOMENTS[0], DEVICES[0], "ina")),)


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_two_values_of_one_stamp_go_by_their_text(order):
    record, stamp = StampedRecord(), Stamp(MOMENTS[0], DEVICES[0], "ina")
    values = ("zest", "\u00e9clair")  # by code points, not by how JSON may escape them
    outcomes = [merge(record, {"remarks": values[i]}, stamp) for i in order]
    assert record.values["remarks"] == "\u00e9clair"
    assert [item.value for outcome in outcomes for item in outcome.lost] == ["zest"]


def test_an_earlier_value_is_kept_though_the_current_one_is_unknown():
    record, early = StampedRecord(), Stamp(MOMENTS[0], DEVICES[0], "ina")
    merge(record, {"remarks": None}, Stamp(MOMENTS[1], DEVICES[0], "ina"))
    outcome = merge(record, {"remarks": "thin"}, early)
    assert outcome.lost == (LostValue("remarks", "thin", early),)


def test_another_devices_same_value_after_a_clock_ahead_is_an_edit_of_its_own():
    record = StampedRecord()
    ahead = Stamp(MOMENTS[0], DEVICES[0], "ina", "2027-01-01T00:00:00.000000Z")
    later = Stamp(MOMENTS[1], DEVICES[1], "bo")
    merge(record, {"steep_s": 10}, ahead)
    outcome = merge(record, {"steep_s": 10}, later)
    assert (outcome.stamped, outcome.lost) == (True, (LostValue("steep_s", 10, ahead),))
    assert record.stamps["steep_s"] == later


def test_a_copy_is_merged_into_without_changing_the_record():
    record = StampedRecord()
    merge(record, {"steep_s": 10}, Stamp(MOMENTS[0], DEVICES[0], "ina"))
    copy = record.copy()
    assert copy == record
    merge(copy, {"steep_s": 20}, Stamp(MOMENTS[1], DEVICES[0], "ina"))
    assert (record.values["steep_s"], record.stamps["steep_s"].at) == (10, MOMENTS[0])


def test_field_that_is_known_already_keeps_no_other_field_of_its_edit_out():
    stamp = Stamp(MOMENTS[0], DEVICES[0], "ina")
    record = StampedRecord()
    merge(record, {"steep_s": 10}, stamp)
    outcome = merge(record, {"steep_s": 10, "remarks": "thin"}, stamp)
    assert (record.values, outcome.stamped) == ({"steep_s": 10, "remarks": "thin"}, True)


def test_value_that_is_set_again_is_not_lost_and_one_that_is_emptied_is():
    record = StampedRecord()
    first, again, emptied = (Stamp(MOMENTS[i], DEVICES[0], "ina") for i in range(3))
    merge(record, {"steep_s": 10}, first)
    assert merge(record, {"steep_s": 10}, again).lost == ()
    assert merge(record, {"steep_s": None}, emptied).lost == (LostValue("steep_s", 10, again),)


def test_stamps_are_stored_once_for_each_edit_with_a_number_only_where_there_is_one():
    plain, numbered = Stamp(MOMENTS[0], DEVICES[0], "ina"), Stamp(MOMENTS[1], DEVICES[0], "ina", seq=3)
    assert pack({"remarks": numbered, "name": plain, "kind": plain}) == [
        [MOMENTS[0], DEVICES[0], "ina", "", ["kind", "name"]],
        [MOMENTS[1], DEVICES[0], "ina", "", 3, ["remarks"]],
    ]
