"""Laws of the merge: the outcome depends on the set of edits alone."""

import json
from itertools import permutations

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
    held, lost = StampedRecord(), set()
    for fields, stamp in order:
        lost |= {key_of(item) for item in merge(held, fields, stamp).lost}
    return held, lost


def key_of(item: LostValue):
    return item.field, json.dumps(item.value)


@given(edits)
def test_every_order_of_edits_ends_in_the_same_record(sent):
    first, _ = play(sent)
    for order in permutations(sent):
        held, _ = play(order)
        assert (held, held.removed) == (first, first.removed)


@given(edits)
def test_hearing_everything_twice_changes_nothing(sent):
    once, lost_once = play(sent)
    twice, lost_twice = play(sent + sent)
    assert twice == once
    assert lost_twice >= lost_once


@given(edits)
def test_every_value_is_current_or_lost_and_never_forgotten(sent):
    held, lost = play(sent)
    for fields, _ in sent:
        for name, value in fields.items():
            current = held.values[name] == value and type(held.values[name]) is type(value)
            assert current or (name, json.dumps(value)) in lost


@given(edits)
def test_stored_stamps_read_back_the_same(sent):
    held, _ = play(sent)
    assert unpack(json.loads(json.dumps(pack(held.stamps)))) == held.stamps


def test_later_wins_and_a_tie_goes_to_the_greater_device():
    held = StampedRecord()
    merge(held, {"steep_s": 10}, Stamp(MOMENTS[1], DEVICES[0], "ina"))
    assert merge(held, {"steep_s": 20}, Stamp(MOMENTS[1], DEVICES[1], "bo")).changed == {"steep_s"}
    outcome = merge(held, {"steep_s": 30}, Stamp(MOMENTS[0], DEVICES[1], "bo"))
    assert (held.values["steep_s"], outcome.outdated, outcome.stamped) == (20, True, False)


def test_an_edit_drawn_back_from_the_future_is_known_when_it_comes_again():
    held = StampedRecord()
    merge(held, {"steep_s": 10}, Stamp(MOMENTS[0], DEVICES[0], "ina", reported="2027-01-01T00:00:00.000000Z"))
    again = merge(held, {"steep_s": 10}, Stamp(MOMENTS[1], DEVICES[0], "ina", reported="2027-01-01T00:00:00.000000Z"))
    assert (again.stamped, again.outdated, again.lost) == (False, False, ())


def test_a_later_field_edit_brings_a_deleted_record_back():
    held = StampedRecord()
    merge(held, {"steep_s": 10}, Stamp(MOMENTS[0], DEVICES[0], "ina"))
    merge(held, {DELETED: True}, Stamp(MOMENTS[1], DEVICES[0], "ina"))
    assert held.removed
    merge(held, {"remarks": "kept"}, Stamp(MOMENTS[2], DEVICES[1], "bo"))
    assert not held.removed
    assert held.values["steep_s"] == 10
