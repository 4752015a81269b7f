"""A record while a push works on it: the stamps that its changes get, what is undone. No database."""

from datetime import UTC, datetime
from uuid import UUID

import pytest

from lots.merge import DELETED, LostValue, Stamp, StampedRecord
from lots.models import Lot
from tastings.actions.push.change import Change
from tastings.actions.push.pending import PendingRecord
from tastings.schemas import RECORD_SCHEMAS

LOT = UUID("01990000-0000-7000-8000-0000000000a1")
ONE, OTHER = UUID(int=1), UUID(int=2)
NOW = datetime(2026, 3, 4, 12, tzinfo=UTC)
BY = UUID(int=3)


def moment(second, us=0):
    return f"2026-03-04T12:00:{second:02}.{us:06}Z"


def stamp(second, *, device=ONE, reported="", seq=0, us=0):
    return Stamp(moment(second, us), str(device), str(BY), reported, seq)


def pending(**stamps):
    """Return a stored lot whose fields have these stamps, each with its own name as value."""
    record = StampedRecord({name: name for name in stamps}, stamps)
    return PendingRecord(RECORD_SCHEMAS["lot"], LOT, Lot(id=LOT), record, record.copy())


def stamp_of(record, change_stamp, **fields):
    """Merge a change; return the stamp that it got: that of a name, which loses to nothing, or of the deletion."""
    change = Change(
        type="lot", id=LOT, fields=fields if DELETED in fields else {**fields, "name": "x"}, stamp=change_stamp
    )
    merged, _ = record.try_merge(change, device=ONE, by=BY, now=NOW)
    return merged.stamps[DELETED if DELETED in fields else "name"]


def ahead(second, *, reported="2026-03-04T14:00:00.000000Z", seq=0):
    """Return the stamp of a device whose clock is two hours ahead."""
    return stamp(second, reported=reported, seq=seq)


@pytest.mark.parametrize(
    ("stored", "expected"),
    [
        ({}, moment(10)),
        ({"remarks": stamp(9, device=OTHER)}, moment(10)),
        ({"remarks": stamp(10, device=OTHER)}, moment(10, 1)),
        ({"remarks": stamp(50, device=OTHER)}, moment(50, 1)),
        ({"garden": stamp(50, device=OTHER)}, moment(10)),  # another field
        ({DELETED: stamp(50, device=OTHER)}, moment(50, 1)),
        ({"remarks": stamp(20, device=OTHER), DELETED: stamp(30, device=OTHER)}, moment(30, 1)),
        # of the same device: what it reported decides which came first
        ({"remarks": stamp(50, reported="2026-03-04T13:59:00.000000Z")}, moment(50, 1)),
        ({"remarks": stamp(5, reported="2026-03-04T14:01:00.000000Z")}, moment(4, 999999)),
        ({"remarks": stamp(10, reported="2026-03-04T14:01:00.000000Z")}, moment(9, 999999)),
        ({"remarks": stamp(11, reported="2026-03-04T14:01:00.000000Z")}, moment(10)),
        (
            {
                "remarks": stamp(50, device=OTHER),
                DELETED: stamp(20, reported="2026-03-04T14:01:00.000000Z"),
            },
            moment(19, 999999),
        ),
    ],
)
def test_change_of_a_clock_ahead_comes_after_what_was_received_and_before_later_ones_of_its_device(stored, expected):
    found = stamp_of(pending(**stored), ahead(10), remarks="thin")
    assert (found.at, found.reported) == (expected, "2026-03-04T14:00:00.000000Z")


def test_numbers_of_changes_go_before_what_the_clock_reported():
    stored = {"remarks": stamp(50, reported="2026-03-04T14:30:00.000000Z", seq=4)}
    assert stamp_of(pending(**stored), ahead(10, seq=5), remarks="thin").at == moment(50, 1)
    earlier = {"remarks": stamp(5, reported="2026-03-04T13:00:00.000000Z", seq=6)}
    assert stamp_of(pending(**earlier), ahead(10, seq=5), remarks="thin").at == moment(4, 999999)

    unnumbered = {"remarks": stamp(5, reported="2026-03-04T14:30:00.000000Z")}
    assert stamp_of(pending(**unnumbered), ahead(10, seq=5), remarks="thin").at == moment(4, 999999)


@pytest.mark.parametrize("seq", [0, 5])
def test_change_itself_is_neither_before_nor_after_itself(seq):
    record = pending(remarks=ahead(5, seq=seq))
    assert stamp_of(record, ahead(10, seq=seq), remarks="thin").at == moment(10)


def test_deletion_of_a_clock_ahead_comes_after_every_field():
    record = pending(remarks=stamp(20, device=OTHER), garden=stamp(40, device=OTHER))
    assert stamp_of(record, ahead(10), **{DELETED: True}).at == moment(40, 1)


def test_stamp_of_a_clock_that_is_right_stays():
    assert stamp_of(pending(remarks=stamp(50, device=OTHER)), stamp(60 - 1), remarks="thin") == stamp(59)


@pytest.mark.parametrize(
    ("stored", "expected"),
    [
        ({"remarks": stamp(10)}, 1),
        ({"remarks": stamp(10, seq=4)}, 5),
        ({"remarks": stamp(10, device=OTHER)}, 0),
        ({"remarks": stamp(9)}, 0),
        ({"garden": stamp(10)}, 0),
    ],
)
def test_of_two_values_that_a_device_sends_for_one_moment_the_later_one_gets_the_next_number(stored, expected):
    assert stamp_of(pending(**stored), stamp(10), remarks="thin").seq == expected


def test_same_value_of_one_moment_and_a_number_of_the_devices_own_stay():
    assert stamp_of(pending(remarks=stamp(10)), stamp(10), remarks="remarks").seq == 0
    assert stamp_of(pending(remarks=stamp(10, seq=9)), stamp(10, seq=12), remarks="thin").seq == 12


def test_change_on_the_servers_state_is_later_than_every_other():
    assert stamp_of(pending(), None, remarks="thin") == Stamp(moment(0), str(ONE), str(BY))
    assert stamp_of(pending(garden=stamp(9)), None, remarks="thin") == Stamp(moment(9, 1), str(ONE), str(BY))
    old = Stamp("2026-03-04T11:00:00.000000Z", str(OTHER), "somebody")
    assert stamp_of(pending(garden=old), None, remarks="thin") == Stamp(moment(0), str(ONE), str(BY))


def test_what_is_merged_counts_once_it_is_accepted_and_can_be_undone():
    record = pending(remarks=stamp(1), name=stamp(1))
    change = Change(type="lot", id=LOT, fields={"remarks": "thin"}, stamp=stamp(5))
    merged, outcome = record.try_merge(change, device=ONE, by=BY, now=NOW)
    assert (record.values["remarks"], record.dirty) == ("remarks", False)
    record.accept(merged, outcome)
    assert (record.values["remarks"], record.dirty) == ("thin", True)
    assert record.lost == [LostValue("remarks", "remarks", stamp(1))]
    assert (record.changes_field("remarks"), record.changes_field("name")) == (True, False)

    record.accept(*record.try_merge(change, device=ONE, by=BY, now=NOW))  # again: nothing new, still to be stored
    assert record.dirty
    record.reset()
    assert (record.values["remarks"], record.lost, record.dirty) == ("remarks", [], False)
    assert not record.changes_field("remarks")
    record.accept(merged, outcome)
    assert record.stored.values["remarks"] == "remarks"


def test_new_record_exists_once_a_change_is_accepted():
    record = PendingRecord(RECORD_SCHEMAS["lot"], LOT, None)
    assert (record.exists, record.is_live) == (False, False)
    change = Change(type="lot", id=LOT, fields={"remarks": "thin"}, stamp=stamp(5))
    record.accept(*record.try_merge(change, device=ONE, by=BY, now=NOW))
    assert (record.exists, record.is_live, record.changes_field("remarks")) == (True, True, False)
    gone = Change(type="lot", id=LOT, fields={DELETED: True}, stamp=stamp(6))
    record.accept(*record.try_merge(gone, device=ONE, by=BY, now=NOW))
    assert (record.exists, record.is_live) == (True, False)


def test_stored_record_begins_as_its_row_says():
    row = Lot(
        id=LOT, name="Mist Ridge", kind="oolong", revision=7, stamps=[[moment(1), str(ONE), str(BY), "", ["name"]]]
    )
    record = PendingRecord.from_row(row)
    assert (record.schema.type, record.id, record.row, record.revision, record.dirty) == ("lot", LOT, row, 7, False)
    assert (record.values["name"], record.stored.stamps) == ("Mist Ridge", {"name": stamp(1)})
    assert record.current == record.stored
    assert record.current is not record.stored
