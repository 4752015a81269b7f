"""Two changes of one device with one moment: the later one wins, in any order of delivery if they are numbered."""

from itertools import permutations
from uuid import uuid4

import pytest

from lots.models import Lot
from tastings.queries.brews import load_brews
from tests.api.phone import change, sync
from tests.api.records import Place

pytestmark = pytest.mark.django_db
TIE = "2026-03-04T12:40:00Z"


@pytest.fixture
def place(taster):
    return Place(taster)


def intensity_of(someone, note):
    return someone.client.get(f"/api/v1/notes/{note}/").json()["intensity"]


def numbered(note, value, seq):
    return {**change("note", note, at=TIE, intensity=value), "seq": seq}


def test_the_later_of_two_values_of_one_moment_wins(taster, place):
    nine, ten = (change("note", place.note.id, at=TIE, intensity=value) for value in (9, 10))

    sync(taster.client, [nine, ten])
    assert intensity_of(taster, place.note.id) == 10
    for again in ([nine], [nine, ten], [ten], [nine]):
        answer = sync(taster.client, again)
        assert {one["verdict"] for one in answer["verdicts"]} <= {"unchanged"}
        assert intensity_of(taster, place.note.id) == 10


@pytest.mark.parametrize("order", list(permutations(range(3))))
def test_numbered_changes_end_alike_in_any_order_of_delivery(taster, place, order):
    sent = [numbered(place.note.id, value, seq) for seq, value in ((11, 9), (12, 10), (13, 2))]
    for i in order:
        sync(taster.client, [sent[i]])

    assert intensity_of(taster, place.note.id) == 2
    history = taster.client.get(f"/api/v1/notes/{place.note.id}/history").json()["overwritten"]
    assert sorted(one["value"] for one in history) == [9, 10]


def test_an_edit_after_a_deletion_of_the_same_moment_brings_the_record_back(taster, place):
    gone = {**change("note", place.note.id, at=TIE, deleted=True), "seq": 5}
    back = numbered(place.note.id, 3, 6)
    for sent in ([back, gone], [gone, back]):
        sync(taster.client, sent)
        assert intensity_of(taster, place.note.id) == 3


@pytest.mark.parametrize("seq", [0, -1, 1.5, "1", True, 2**60])
def test_a_number_that_is_none_is_refused(taster, place, seq):
    [verdict] = sync(taster.client, [numbered(place.note.id, 3, seq)])["verdicts"]

    assert [(one["field"], one["code"]) for one in verdict["problems"]] == [("seq", "seq")]


def test_merged_tells_what_stands_and_who_set_it(taster, owner, place):
    sync(owner.client, [change("lot", place.lot.id, at="2026-03-05T10:00:00Z", remarks="round", region="North")])
    late = change("lot", place.lot.id, at="2026-03-05T09:00:00Z", remarks="thin", garden="Upper")

    [verdict] = sync(taster.client, [late])["verdicts"]

    assert verdict["verdict"] == "merged"
    assert verdict["lost"] == [
        {"field": "remarks", "value": "round", "at": "2026-03-05T10:00:00.000000Z", "by": str(owner.user.id)}
    ]


def test_merged_tells_that_a_record_stays_deleted(taster, owner, place):
    sync(owner.client, [change("lot", place.lot.id, at="2026-03-05T10:00:00Z", deleted=True)])

    [verdict] = sync(taster.client, [change("lot", place.lot.id, at="2026-03-05T09:00:00Z", garden="Upper")])[
        "verdicts"
    ]

    assert (verdict["verdict"], [(one["field"], one["value"]) for one in verdict["lost"]]) == (
        "merged",
        [("deleted", True)],
    )


def test_work_under_a_deleted_session_is_stored_and_said_to_be_hidden(taster, place):
    sync(taster.client, [change("session", place.session.id, at="2026-03-05T10:00:00Z", deleted=True)])
    note = change("note", at="2026-03-05T11:00:00Z", session=str(place.session.id), moment="mouth", text="late honey")

    [verdict] = sync(taster.client, [note])["verdicts"]

    assert (verdict["verdict"], [(p["field"], p["code"]) for p in verdict["problems"]]) == (
        "applied",
        [("session", "parent_deleted")],
    )
    [pulled] = [one for one in sync(taster.client)["changes"] if one["id"] == note["id"]]
    assert pulled["fields"]["text"] == "late honey"
    sync(taster.client, [change("session", place.session.id, at="2026-03-05T12:00:00Z", remarks="back")])
    assert taster.client.get(f"/api/v1/notes/{note['id']}/").json()["text"] == "late honey"


def test_samples_do_not_lead_back_to_the_lot(buyer):
    first, second, third = (str(uuid4()) for _ in range(3))
    tea = {"name": "Mist Ridge", "kind": "oolong"}
    sync(buyer.client, [
        change("lot", first, **tea), change("lot", second, from_lot=first, **tea),
        change("lot", third, from_lot=second, **tea),
    ])  # fmt: skip

    [verdict] = sync(buyer.client, [change("lot", first, at="2026-03-05T10:00:00Z", from_lot=third)])["verdicts"]

    assert [(one["field"], one["code"]) for one in verdict["problems"]] == [("from_lot", "circle")]


def test_a_session_far_in_the_future_is_refused(taster, place):
    [verdict] = sync(taster.client, [change("session", place.session.id, started_at="2999-01-01T00:00:00Z")])[
        "verdicts"
    ]

    assert [(one["field"], one["code"]) for one in verdict["problems"]] == [("started_at", "future")]


def test_a_note_of_words_alone_is_kept(taster, place):
    note, empty = ({"session": str(place.session.id), "moment": "mouth"} for _ in range(2))
    worded, nothing = change("note", text="like rain on stone", **note), change("note", **empty)

    applied, refused = sync(taster.client, [worded, nothing])["verdicts"]

    assert (applied["verdict"], refused["verdict"]) == ("applied", "refused")
    assert [(one["field"], one["code"]) for one in refused["problems"]] == [("descriptor", "required")]
    read = taster.client.get(f"/api/v1/notes/{worded['id']}/").json()
    assert (read["descriptor"], read["text"]) == (None, "like rain on stone")


def test_edits_of_two_people_that_leave_a_note_empty_end_alike(taster, place):
    first = change("note", place.note.id, at="2026-03-05T10:00:00Z", descriptor=None)
    second = change("note", place.note.id, at="2026-03-05T11:00:00Z", text=None)

    assert [sync(taster.client, [one])["verdicts"][0]["verdict"] for one in (second, first)] == ["applied"] * 2


def test_a_kettle_that_was_not_read_counts_as_the_last_reading(taster, place):
    for number, kettle_c in ((2, 88), (3, None)):
        pour = {"session": str(place.session.id), "number": number, "steep_s": 10, "kettle_c": kettle_c}
        sync(taster.client, [change("infusion", **pour)])

    [brew] = load_brews(place.lot.id).brews
    pours = [(pour.kettle_c, pour.kettle_read) for pour in brew.pours if pour.number in (2, 3)]
    assert pours == [(88, True), (88, False)]


def test_form_of_the_lot_reaches_its_brews(taster, place):
    Lot.objects.filter(id=place.lot.id).update(form="rolled")

    assert {brew.form for brew in load_brews(place.lot.id).brews} == {"rolled"}
