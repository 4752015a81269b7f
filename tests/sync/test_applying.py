"""Changes of one push, in any order, merged into its records, and the verdicts on them. No database."""

from dataclasses import replace
from itertools import permutations
from uuid import UUID

import pytest

from lots.merge import LostValue, Stamp
from lots.models import FieldHistory
from tastings.actions.push.applying import Applier
from tastings.actions.push.change import Change
from tastings.actions.push.repeats import ReceivedBefore
from tastings.actions.push.state import MergeTarget, StoredDescriptor
from tastings.models import Flight, FlightCup
from tastings.queries.quotas import Quota
from tests.sync.push_state import (
    BREW,
    CUP,
    FREE,
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
    pending,
    state_with,
)

NEW = [UUID(int=n) for n in range(101, 110)]
TEA = {"name": "Ridge", "kind": "oolong"}
POUR = {"session": str(FREE), "steep_s": 10, "kettle_c": 99}


def change(kind, record, /, *, stamp=LATER, **fields):
    return Change(type=kind, id=record, fields=fields, stamp=stamp)


def new_session(**fields):
    """Return a change that makes a session, of a lot unless they say otherwise."""
    return change("session", FREE, **{**BREW, "lot": str(LOT), **fields})


def verdicts(*changes, state=None, before=None):
    state = state or state_with()
    applier = Applier(state, changes, device=UUID(int=9), now=NOW, before=before or ReceivedBefore({}, {}))
    applier.apply_all()
    return applier.verdicts()


def names(*changes, **options):
    """Return of each change the verdict, of refused ones where and why."""
    return [
        v.verdict if v.verdict != "refused" else [(p.field, p.code) for p in v.problems]
        for v in verdicts(*changes, **options)
    ]


def note(record, /, **fields):
    return change("note", record, **{"session": str(FREE), "moment": "mouth", "text": "stone", **fields})


@pytest.mark.parametrize("order", list(permutations(range(4))))
def test_what_belongs_together_may_come_in_any_order(order):
    sent = [
        new_session(lot=str(NEW[0])),
        change("lot", NEW[0], **TEA, from_lot=str(NEW[1])),
        change("lot", NEW[1], **TEA, from_lot=str(NEW[2])),
        change("lot", NEW[2], **TEA),
    ]
    assert names(*(sent[i] for i in order)) == ["applied"] * 4


def test_lots_that_would_be_samples_of_each_other_are_refused():
    circle = [change("lot", a, **TEA, from_lot=str(b)) for a, b in ((NEW[0], NEW[1]), (NEW[1], NEW[0]))]
    assert names(*circle, change("lot", NEW[2], **TEA, from_lot=str(LOT))) == [
        [("from_lot", "unknown_parent")],
        [("from_lot", "unknown_parent")],
        "applied",
    ]
    assert names(change("lot", NEW[0], **TEA, from_lot=str(NEW[0]))) == [[("from_lot", "itself")]]


def test_edits_may_come_before_what_makes_their_record():
    edits = [change("lot", NEW[0], remarks="thin"), change("lot", NEW[0], price_per_kg=-1, from_lot=str(NEW[0]))]
    assert names(*edits, change("lot", NEW[0], stamp=STAMP, **TEA)) == ["applied", [("from_lot", "itself")], "applied"]
    assert names(change("lot", NEW[0], deleted=True), change("lot", NEW[0], stamp=STAMP, **TEA)) == ["applied"] * 2
    assert names(change("lot", NEW[0], remarks="thin")) == [[("name", "required"), ("kind", "required")]]


def test_one_infusion_of_a_number_stays_and_notes_of_the_other_are_refused():
    sent = [
        new_session(),
        change("infusion", NEW[0], **POUR, number=1),
        change("infusion", NEW[1], **POUR, number=1),
        note(NEW[2], infusion=str(NEW[0])),
        note(NEW[3], infusion=str(NEW[1])),
    ]
    expected = ["applied", "applied", [("number", "taken")], "applied", [("infusion", "unknown_parent")]]
    assert names(*sent) == expected
    [problem] = verdicts(*sent)[2].problems
    assert problem.detail == "the session has an infusion 1 already"


def test_each_session_has_numbers_of_its_own():
    other = change("session", OTHER, **BREW, lot=str(LOT))
    sent = [change("infusion", NEW[i], **{**POUR, "session": str(s)}, number=1) for i, s in enumerate((FREE, OTHER))]
    assert names(new_session(), other, *sent) == ["applied"] * 4


def test_of_an_infusion_whose_number_is_taken_only_the_change_of_number_is_refused():
    sent = [
        new_session(),
        change("infusion", NEW[0], **POUR, number=1),
        change("infusion", NEW[1], stamp=STAMP, **POUR, number=2),
        change("infusion", NEW[1], remarks="thin"),
        change("infusion", NEW[1], stamp=LATER._replace(at="2026-03-04T12:20:00.000000Z"), number=1),
        change("infusion", NEW[1], stamp=LATER._replace(at="2026-03-04T12:21:00.000000Z"), rest_s=5),
        change("infusion", NEW[2], **POUR, number=7),
    ]
    state = state_with()
    assert names(*sent, state=state) == [*["applied"] * 4, [("number", "taken")], "applied", "applied"]
    values = state.records["infusion"][NEW[1]].values
    assert [values[name] for name in ("number", "remarks", "rest_s")] == [2, "thin", 5]


def test_infusions_swap_numbers_in_one_push():
    sent = [new_session(), change("infusion", NEW[0], **POUR, number=1), change("infusion", NEW[1], **POUR, number=2)]
    swap = [change("infusion", NEW[i], stamp=LATER._replace(seq=5), number=2 - i) for i in (0, 1)]
    assert names(*sent, *swap) == ["applied"] * 5
    gone = change("infusion", NEW[0], stamp=LATER._replace(seq=5), deleted=True)
    taken = change("infusion", NEW[1], stamp=LATER._replace(seq=5), number=1)
    assert names(*sent, gone, taken) == ["applied"] * 5


def test_verdicts_say_what_became_of_a_change():
    state = state_with()
    [applied, unchanged] = verdicts(change("lot", LOT, name="Mist"), change("lot", LOT, name="Mist"), state=state)
    assert (applied.type, applied.id, applied.verdict, applied.revision) == ("lot", str(LOT), "applied", 7)
    assert (applied.problems, applied.lost, unchanged.verdict) == ([], [], "unchanged")
    [made] = verdicts(change("lot", FREE, **TEA), state=state)
    assert (made.verdict, made.revision) == ("applied", None)  # until it is stored
    [refused] = verdicts(change("lot", LOT, name=None))
    assert (refused.verdict, refused.revision, refused.type, refused.id) == ("refused", 7, "lot", str(LOT))
    [absent] = verdicts(change("lot", OTHER, name="Mist"))
    assert (absent.verdict, absent.revision, absent.lost) == ("refused", None, ())


def test_an_edit_of_a_deleted_record_and_a_late_deletion_are_merged():
    state = state_with()
    late = [change("lot", LOT, name="Mist"), change("lot", LOT, stamp=STAMP._replace(seq=1), deleted=True)]
    [_, merged] = verdicts(*late, state=state)
    assert (merged.verdict, merged.lost) == (
        "merged",
        [{"field": "deleted", "value": False, "at": LATER.at, "by": str(ME)}],
    )
    [_, merged] = verdicts(
        change("lot", OLDER, deleted=True), change("lot", OLDER, stamp=STAMP._replace(seq=1), garden="Upper")
    )
    assert (merged.verdict, merged.lost) == (
        "merged",
        [{"field": "deleted", "value": True, "at": LATER.at, "by": str(ME)}],
    )


def test_work_under_a_deleted_parent_is_stored_and_said_to_be_hidden():
    [_, hidden] = verdicts(change("session", SESSION, deleted=True), change("note", NOTE, text="honey"))
    detail = "the session is deleted: this is stored, and shown once it is brought back"
    assert [(p.field, p.code, p.detail) for p in hidden.problems] == [("session", "parent_deleted", detail)]
    assert hidden.verdict == "applied"
    [_, gone] = verdicts(change("session", SESSION, deleted=True), change("note", NOTE, deleted=True))
    assert gone.problems == []


def test_a_note_with_a_merged_descriptor_gets_its_target():
    target = MergeTarget(OTHER, "slate")
    words = {"wet_stone": [StoredDescriptor(FREE, True, target)], "slate": [StoredDescriptor(OTHER, False, None)]}
    state = state_with(descriptors=words)
    sent = change("note", NOTE, descriptor="wet_stone")
    assert names(sent, state=state) == ["applied"]
    note = state.records["note"][NOTE]
    assert (note.values["descriptor"], note.values["text"]) == ("slate", "wet stone")
    assert [(lost.field, lost.value, lost.stamp) for lost in note.lost] == [("descriptor", "wet_stone", LATER)]
    assert names(sent, state=state) == ["unchanged"]
    assert len(note.lost) == 1
    assert names(change("note", NOTE, text="slate"), state=state) == ["applied"]
    assert names(change("session", SESSION, water="wet_stone"), state=state) == ["applied"]
    assert [lost.field for lost in note.lost] == ["descriptor", "text"]


def test_values_that_came_before_and_might_win_now_are_left_out():
    state = state_with()
    before = ReceivedBefore({0: {"name"}}, {0: {"name"}})
    assert names(change("lot", LOT, name="Mist", remarks="thin"), state=state, before=before) == ["applied"]
    values = state.records["lot"][LOT].values
    assert (values["name"], values["remarks"]) == ("Ridge", "thin")


def test_what_was_accepted_before_its_sender_lost_the_role_stays_accepted():
    state = state_with("viewer")
    state.records["lot"][LOT].current.stamps["name"] = LATER
    assert names(change("lot", LOT, name="Ridge"), state=state) == ["unchanged"]
    assert names(change("lot", LOT, name="Mist"), state=state_with("viewer")) == [[("", "not_allowed")]]


def test_a_change_on_the_servers_state_is_stamped_by_the_server():
    state = state_with()
    assert names(change("lot", LOT, stamp=None, name="Mist"), state=state) == ["applied"]
    stamp = state.records["lot"][LOT].current.stamps["name"]
    assert stamp == Stamp("2026-03-04T12:30:00.000000Z", str(UUID(int=9)), str(ME))


@pytest.fixture
def history(monkeypatch):
    """The lost values that the history has, by record and value."""
    stored = []
    monkeypatch.setattr(
        "tastings.actions.push.applying.stored_history",
        lambda lost: {FieldHistory.history_id(*entry) for entry in lost if entry in stored},
    )
    return stored


def test_an_edit_that_loses_is_merged_and_unchanged_once_all_of_it_is_in_the_history(history):
    early = STAMP._replace(at="2026-03-04T11:00:00.000000Z")
    sent = [change("lot", SAMPLE, remarks="thin"), change("lot", LOT, stamp=early, name="Old", kind="green")]
    [_, verdict] = verdicts(*sent)
    stands = [("name", "Ridge"), ("kind", "oolong")]
    assert (verdict.verdict, [(lost["field"], lost["value"]) for lost in verdict.lost]) == ("merged", stands)
    assert {(lost["at"], lost["by"]) for lost in verdict.lost} == {(STAMP.at, str(ME))}
    history.append((LOT, LostValue("name", "Old", early)))
    assert names(*sent) == ["applied", "merged"]
    history.append((LOT, LostValue("kind", "green", early)))
    assert names(*sent) == ["applied", "unchanged"]
    assert names(*sent, change("lot", OLDER, stamp=early, name="Older")) == ["applied", "unchanged", "merged"]
    [partly] = verdicts(change("lot", LOT, stamp=early, name="".join(["Rid", "ge"]), kind="green"))
    assert [lost["field"] for lost in partly.lost] == ["kind"]


def test_an_edit_that_lost_before_stays_accepted_after_its_sender_lost_the_role(history):
    early = STAMP._replace(at="2026-03-04T11:00:00.000000Z")
    late = change("lot", LOT, stamp=early, name="Old")
    history.append((LOT, LostValue("name", "Old", early)))
    before = ReceivedBefore({1: {"name"}}, {})
    assert names(late, late, state=state_with("viewer"), before=before) == [[("", "not_allowed")], "unchanged"]


def test_what_a_taster_repeats_of_a_purchase_keeps_the_buyers_stamp():
    state = state_with("taster")
    lot = state.records["lot"][LOT]
    lot.row.author_id = ME
    lot.current.values["status"] = lot.stored.values["status"] = "sample"
    lot.current.stamps["status"] = STAMP
    assert names(change("lot", LOT, status="sample", remarks="thin"), state=state) == ["applied"]
    assert (lot.current.stamps["status"], lot.current.stamps["remarks"]) == (STAMP, LATER)


def test_a_full_quota_refuses_what_is_new():
    class Full:
        def full_quota(self, kind, record):
            return Quota(name="records", of_team=True, used=5, limit=5) if (kind, record) == ("lot", FREE) else None

    state = state_with(allowance=Full())
    [made, edited, free] = verdicts(
        change("lot", FREE, **TEA), change("lot", LOT, name="Mist"), change("lot", NEW[0], **TEA), state=state
    )
    assert [(p.field, p.code) for p in made.problems] == [("", "quota")]
    assert "5" in made.problems[0].detail
    assert (edited.verdict, free.verdict) == ("applied", "applied")


def cup(*, revealed):
    """Return a cup of a lot in a flight that is, or is not, revealed."""
    return FlightCup(id=CUP, lot_id=SAMPLE, flight=Flight(state="revealed" if revealed else "tasting"))


def test_a_session_that_comes_after_the_reveal_gets_the_lot_of_its_cup_with_the_cups_stamp():
    for revealed, lot in ((True, str(SAMPLE)), (False, None)):
        state = state_with(cups={CUP: cup(revealed=revealed)})
        assert names(change("session", FREE, **BREW, flight_cup=str(CUP)), state=state) == ["applied"]
        session = state.records["session"][FREE].current
        assert session.values.get("lot") == lot
    stamps = state_with(cups={CUP: cup(revealed=True)})
    blind = change("session", FREE, **BREW, flight_cup=str(CUP))
    assert names(blind, change("session", SESSION, leaf_g=6), state=stamps) == ["applied", "applied"]
    revealed = stamps.records["session"][FREE].current
    assert revealed.stamps["lot"] == revealed.stamps["flight_cup"] == LATER
    assert stamps.records["session"][SESSION].values["lot"] == str(LOT)


def test_a_session_that_has_its_lot_keeps_its_stamp_when_its_cup_is_named_again():
    state = state_with(cups={CUP: cup(revealed=True)})
    state.records["session"][SESSION].current.values["flight_cup"] = str(CUP)
    state.records["session"][SESSION].current.stamps["flight_cup"] = STAMP
    assert names(change("session", SESSION, flight_cup=str(CUP), leaf_g=6), state=state) == ["applied"]
    session = state.records["session"][SESSION].current
    assert (session.values["lot"], session.stamps["lot"], session.stamps["leaf_g"]) == (str(LOT), STAMP, LATER)


def test_a_phone_that_repeats_the_lot_of_a_cup_does_not_stamp_it():
    blind = pending("session", SESSION, {**BREW, "lot": str(LOT), "flight_cup": str(CUP), "private": False})
    for fields in ({"lot": str(LOT)}, {"lot": str(LOT), "flight_cup": str(CUP)}, {"lot": None, "leaf_g": 5}):
        state = state_with(cups={})
        state.records["session"][SESSION] = replace(blind, current=blind.current.copy())
        [verdict] = verdicts(change("session", SESSION, **fields), state=state)
        assert (verdict.verdict in ("applied", "unchanged"), verdict.lost) == (True, [])
        assert state.records["session"][SESSION].current.stamps["lot"] == STAMP
        assert state.records["session"][SESSION].values["lot"] == str(LOT)
    state = state_with()
    assert names(change("session", SESSION, lot=str(LOT)), state=state) == ["applied"]
    assert state.records["session"][SESSION].current.stamps["lot"] == LATER  # of a session that is not blind
