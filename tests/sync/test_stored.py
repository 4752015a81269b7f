"""What follows from the records of a push: lots that are due, photos, rows of its pull, the audit log. No database."""

from uuid import UUID

import pytest

from tastings.actions.push.applying import Applier
from tastings.actions.push.change import Change
from tastings.actions.push.corrections import record_corrections
from tastings.actions.push.lot_edits import record_lot_edits
from tastings.actions.push.repeats import ReceivedBefore
from tastings.actions.push.state import MergeTarget, StoredDescriptor
from tastings.actions.push.store import changed_lots, changed_photo_parents
from tastings.actions.push.written import written_rows
from tests.sync.push_state import (
    BREW,
    FREE,
    INFUSION,
    LATER,
    LOT,
    ME,
    NOTE,
    NOW,
    OLDER,
    OTHER,
    SAMPLE,
    SESSION,
    STAMP,
    WORD,
    state_with,
)

DELETION = {"deleted": True}
NEW = UUID(int=101)


def pushed(*changes, **read):
    """Apply changes, each of type, id and fields, to what is stored; return the state."""
    state = state_with(**read)
    sent = [Change(type=kind, id=record, fields=fields, stamp=LATER) for kind, record, fields in changes]
    applier = Applier(state, sent, device=UUID(int=9), now=NOW, before=ReceivedBefore({}, {}))
    applier.apply_all()
    assert {verdict.verdict for verdict in applier.verdicts()} <= {"applied", "unchanged"}
    return state


OF_SESSION = {"session": str(SESSION)}


@pytest.mark.parametrize(
    ("changes", "due"),
    [
        ([("session", SESSION, {"leaf_g": 6})], {LOT}),
        ([("session", SESSION, DELETION)], {LOT}),
        ([("session", SESSION, {"lot": str(OLDER)})], {LOT, OLDER}),
        ([("session", FREE, {**BREW, "lot": str(SAMPLE)})], {SAMPLE}),
        ([("session", FREE, {**BREW, "lot": str(SAMPLE), "private": True})], set()),
        ([("infusion", INFUSION, {"steep_s": 20})], {LOT}),
        ([("note", NOTE, {"text": "stone"})], {LOT}),
        ([("note", NEW, {**OF_SESSION, "moment": "mouth", "text": "stone"})], {LOT}),
        ([("lot", LOT, {"kind": "green"})], {LOT}),
        ([("lot", LOT, {"remarks": "round"})], set()),
        ([("lot", FREE, {"name": "x", "kind": "green"})], set()),
        ([("pot", FREE, {"name": "x", "vessel_ml": 90, "vessel_material": "glass"})], set()),
        ([("session", SESSION, {"leaf_g": 5})], set()),
    ],
)
def test_lots_are_due_whose_figures_may_change(changes, due):
    state = pushed(*changes)
    if changes == [("session", SESSION, {"leaf_g": 5})]:
        state.records["session"][SESSION].dirty = False  # a later stamp, the same value
    assert changed_lots(state) == due


def test_a_private_or_blind_session_makes_no_lot_due():
    state = pushed(("note", NOTE, {"text": "stone"}))
    session = state.records["session"][SESSION]
    session.current.values["private"] = True
    assert changed_lots(state) == set()
    session.current.values |= {"private": False, "lot": None}
    assert changed_lots(state) == set()


@pytest.mark.parametrize(
    ("changes", "parents"),
    [
        ([("lot", LOT, DELETION)], [LOT]),
        ([("lot", LOT, {"name": "x"})], []),
        ([("session", SESSION, DELETION)], [SESSION]),
        ([("session", SESSION, {"leaf_g": 6})], []),
        ([("session", SESSION, {"started_at": "2026-03-04T11:00:00.000000Z"})], [SESSION]),
        ([("session", SESSION, {"lot": str(OLDER)}), ("lot", SAMPLE, DELETION)], [SESSION, SAMPLE]),
        ([("session", FREE, {**BREW, "lot": str(LOT)})], []),
    ],
)
def test_photos_come_or_go_with_their_parent(changes, parents):
    assert changed_photo_parents(pushed(*changes)) == parents


def test_photos_come_with_a_session_that_is_no_longer_private():
    state = pushed(("session", SESSION, {"leaf_g": 6}))
    session = state.records["session"][SESSION]
    session.stored.values["private"] = True
    assert changed_photo_parents(state) == [SESSION]


def rows_of(state):
    """Number the records that were changed, as storing does; return the rows of the pull."""
    dirty = [pending for records in state.records.values() for pending in records.values() if pending.dirty]
    for number, pending in enumerate(dirty, state.revision + 1):
        pending.revision = number
    return written_rows(state, after=state.revision, upto=state.revision + len(dirty))


def test_rows_say_who_made_and_who_changed_a_record():
    written = rows_of(pushed(("session", SESSION, {"leaf_g": 6}), ("session", FREE, {**BREW, "lot": str(LOT)})))
    stored, made = (row.change for row in written.rows)
    assert (written.after, written.upto, stored["revision"], made["revision"]) == (7, 9, 8, 9)
    assert (stored["by"], stored["author"], stored["fields"]["taster"]) == (str(ME), str(OTHER), str(OTHER))
    assert (made["by"], made["author"], made["fields"]["taster"]) == (str(ME), str(ME), str(ME))
    assert (stored["at"], stored["deleted"], stored["type"], stored["id"]) == (
        LATER.at,
        False,
        "session",
        str(SESSION),
    )
    assert (stored["fields"]["leaf_g"], stored["fields"]["water"], stored["fields"]["private"]) == (6, None, False)
    assert written.sessions == {}


def test_rows_of_infusions_and_notes_come_with_their_session():
    written = rows_of(pushed(("infusion", INFUSION, DELETION), ("note", NOTE, {"text": "x"}), ("lot", LOT, DELETION)))
    assert [row[:5] for row in written.rows] == [
        ("lot", LOT, 8, True, LOT),
        ("infusion", INFUSION, 9, True, SESSION),
        ("note", NOTE, 10, False, SESSION),
    ]
    assert written.rows[0].change["fields"] == written.rows[1].change["fields"] == {}
    assert written.rows[2].change["fields"] == {
        "session": str(SESSION), "infusion": None, "moment": "mouth", "descriptor": None, "intensity": None, "text": "x"
    }  # fmt: skip
    assert list(written.sessions) == [SESSION]
    assert written.sessions[SESSION]["lot"] == str(LOT)


def test_rows_name_the_descriptor_that_one_was_merged_into():
    words = {"wet_stone": [StoredDescriptor(FREE, True, MergeTarget(WORD, "wet_slate"))]}
    one = {**OF_SESSION, "moment": "mouth", "text": "x"}
    state = pushed(
        ("note", NEW, {**one, "descriptor": "wet_slate"}), ("note", OTHER, {**one, "descriptor": "wet_slate"})
    )
    for record in (NEW, OTHER):
        state.records["note"][record].current.values["descriptor"] = "wet_stone"  # as it was stored before the merge
    state.descriptors = words
    assert [row.change["fields"]["descriptor"] for row in rows_of(state).rows] == ["wet_slate", "wet_slate"]
    [row] = rows_of(pushed(("note", NEW, {**one, "descriptor": "wet_slate"}))).rows
    assert row.change["fields"]["descriptor"] == "wet_slate"


def test_a_word_of_the_team_is_not_built_in():
    [row] = rows_of(pushed(("descriptor", WORD, {"label": "slate"}))).rows
    assert row.change["fields"] == {
        "key": "wet_slate", "label": "slate", "family": None, "rated_each_infusion": False, "synonyms": [],
        "built_in": False,
    }  # fmt: skip


def test_rows_are_read_back_where_more_than_the_records_got_a_revision():
    state = pushed(("lot", LOT, {"name": "x"}))
    assert written_rows(state, after=7, upto=8) is not None
    assert written_rows(state, after=7, upto=9) is None


@pytest.fixture
def audited(monkeypatch):
    """Return what goes into the audit log after these changes: event and entries, as often as it is written to."""
    written = []
    for module in ("lot_edits", "corrections"):
        monkeypatch.setattr(f"tastings.actions.push.{module}.record_events", lambda **event: written.append(event))

    def entries(state):
        record_lot_edits(state, now=NOW)
        record_corrections(state, now=NOW)
        member = state.member
        assert all((e["team"], e["login"], e["now"]) == (member.team_id, ME, NOW) for e in written)
        return [(event["event"], list(event["abouts"])) for event in written if event["abouts"]]

    return entries


SAMPLE_MADE = {"name": "x", "kind": "green", "status": "sample", "remarks": "round"}


@pytest.mark.parametrize(
    ("record", "fields", "event", "edits"),
    [
        (FREE, SAMPLE_MADE, "lot_made", {"status": [None, "sample"]}),
        (FREE, {**SAMPLE_MADE, "status": "bought"}, "lot_bought", {"status": [None, "bought"]}),
        (FREE, {**SAMPLE_MADE, "status": "retired"}, "lot_made", {"status": [None, "retired"]}),
        (
            LOT,
            {"status": "bought", "price_per_kg": 90},
            "lot_bought",
            {"status": [None, "bought"], "price_per_kg": [None, 90]},
        ),
        (LOT, {"status": "retired", "name": "x"}, "lot_retired", {"name": ["Ridge", "x"], "status": [None, "retired"]}),
        (LOT, {"price_per_kg": 90}, "lot_priced", {"price_per_kg": [None, 90]}),
        (LOT, {"currency": "EUR", "remarks": "dear"}, "lot_priced", {"currency": [None, "EUR"], "remarks": []}),
        (LOT, {"remarks": "round", "name": "Ridge"}, "lot_edited", {"remarks": []}),
        (LOT, {"status": "sample"}, "lot_edited", {"status": [None, "sample"]}),
        (LOT, DELETION, "lot_deleted", {}),
    ],
)
def test_what_is_done_to_a_lot_goes_into_the_audit_log(audited, record, fields, event, edits):
    [(named, [entry])] = audited(pushed(("lot", record, fields)))
    assert (named, entry["lot"]) == (event, str(record))
    assert entry["changes"] == edits


def test_an_edit_of_a_bought_lot_is_no_purchase(audited):
    state = pushed(("lot", LOT, {"name": "x"}))
    for record in (state.records["lot"][LOT].stored, state.records["lot"][LOT].current):
        record.values["status"] = "bought"
    assert [event for event, _ in audited(state)] == ["lot_edited"]


def test_lots_of_a_push_are_in_the_audit_log_by_what_was_done(audited):
    state = pushed(("lot", LOT, {"name": "x"}), ("lot", OLDER, {"name": "y"}), ("lot", SAMPLE, {"price_per_kg": 9}))
    found = {event: [entry["lot"] for entry in entries] for event, entries in audited(state)}
    assert found == {"lot_edited": [str(LOT), str(OLDER)], "lot_priced": [str(SAMPLE)]}


def test_a_lot_that_comes_back_is_in_the_audit_log_and_one_that_stays_is_not(audited):
    state = pushed(("lot", LOT, {"name": "x"}), ("lot", OLDER, {"name": "Old"}))
    state.records["lot"][LOT].stored.stamps["deleted"] = STAMP
    state.records["lot"][LOT].stored.stamps.pop("name")
    assert state.records["lot"][OLDER].dirty  # a later stamp, the same value
    assert audited(state) == [("lot_restored", [{"lot": str(LOT), "changes": {"name": ["Ridge", "x"]}}])]


def test_corrections_of_anothers_tasting_are_in_the_audit_log(audited):
    state = pushed(
        ("session", SESSION, {"leaf_g": 6, "water": "spring"}),
        ("infusion", INFUSION, DELETION),
        ("note", NEW, {**OF_SESSION, "moment": "mouth", "text": "x"}),
    )
    [(event, entries)] = audited(state)
    of = {"session": str(SESSION), "taster": str(OTHER)}
    assert (event, entries) == (
        "correction",
        [
            {"type": "session", "record": str(SESSION), **of, "fields": ["leaf_g", "water"]},
            {"type": "infusion", "record": str(INFUSION), **of, "fields": ["deleted"]},
            {"type": "note", "record": str(NEW), **of, "fields": ["moment", "session", "text"]},
        ],
    )


def test_ones_own_tasting_is_no_correction(audited):
    made = ("session", FREE, {**BREW, "lot": str(LOT)})
    state = pushed(made, ("note", NOTE, {"text": "x"}))
    state.records["session"][SESSION].row.taster_id = ME
    assert audited(state) == []
