"""Two words made one: notes move by ordinary edits, nothing said is lost, and late phones are understood."""

from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest

from lots.models import FieldHistory
from tastings.actions.pruning import prune
from tastings.models import Descriptor, Note
from teams.models import Team
from tests.api.phone import change, sync, verdict_names
from tests.api.problems import refusal
from tests.api.records import Place
from tests.factories import DescriptorFactory, NoteFactory, SessionFactory

LATER = "2026-03-05T09:00:00Z"


@pytest.fixture
def place(taster, lexicon):
    return Place(taster)


@pytest.fixture
def target(taster, place):
    return DescriptorFactory(
        team=taster.team, by=taster.user, key="wet_slate", label="Wet slate", synonyms=["roof tile"]
    )


def merge(person, descriptor, into="wet_slate"):
    return person.client.post(f"/api/v1/descriptors/{descriptor.id}/merge", {"into": into})


def key_of(note_id):
    return Note.objects.select_related("descriptor").get(id=note_id).descriptor.key


def test_notes_move_and_their_history_keeps_the_old_descriptor(buyer, taster, place, target):
    old = place.descriptor
    answer = merge(buyer, old)
    shown = taster.client.get(f"/api/v1/notes/{place.note.id}/").json()
    history = taster.client.get(f"/api/v1/notes/{place.note.id}/history").json()["overwritten"]

    assert answer.status_code == 200, answer.content
    assert (answer.json()["key"], answer.json()["synonyms"]) == ("wet_slate", ["roof tile", old.label])
    assert shown["descriptor"] == "wet_slate"
    assert [(one["field"], one["value"]) for one in history] == [("descriptor", old.key)]
    assert refusal(taster.client.get(f"/api/v1/descriptors/{old.id}/"))[:2] == (404, "not-here")


def test_phones_hear_of_it_by_an_ordinary_pull(owner, taster, place, target):
    cursor = sync(taster.client)["cursor"]
    merge(owner, place.descriptor)
    pulled = {one["id"]: one for one in sync(taster.client, cursor=cursor)["changes"]}

    assert pulled.keys() == {str(place.note.id), str(place.descriptor.id), str(target.id)}
    assert pulled[str(place.note.id)]["fields"]["descriptor"] == "wet_slate"
    assert pulled[str(place.descriptor.id)]["deleted"] is True
    assert place.descriptor.label in pulled[str(target.id)]["fields"]["synonyms"]


def test_note_sent_with_the_old_key_gets_the_target(buyer, taster, place, target):
    merge(buyer, place.descriptor)
    late = change("note", at=LATER, **place.new("note"), intensity=4)
    first, again = (sync(taster.client, [late]) for _ in range(2))
    history = taster.client.get(f"/api/v1/notes/{late['id']}/history").json()["overwritten"]

    assert (verdict_names(first), verdict_names(again)) == (["applied"], ["unchanged"])
    assert (key_of(late["id"]), first["verdicts"][0]["revision"]) == ("wet_slate", again["verdicts"][0]["revision"])
    assert [(one["field"], one["value"]) for one in history] == [("descriptor", place.descriptor.key)]


def test_late_note_under_a_clock_that_runs_ahead_is_known_when_it_is_sent_again(buyer, taster, place, target):
    merge(buyer, place.descriptor)
    late = change("note", at="2099-01-01T00:00:00Z", **place.new("note"))
    first, again = (verdict_names(sync(taster.client, [late])) for _ in range(2))

    assert (first, again, key_of(late["id"])) == (["applied"], ["unchanged"], "wet_slate")


def test_late_edit_with_merged_key_keeps_the_target(buyer, taster, place, target):
    merge(buyer, place.descriptor)
    edit = change("note", place.note.id, at="2098-01-01T00:00:00Z", descriptor=place.descriptor.key, intensity=2)

    assert verdict_names(sync(taster.client, [edit])) == ["applied"]
    assert (key_of(place.note.id), float(Note.objects.get(id=place.note.id).intensity)) == ("wet_slate", 2)


def test_deleted_note_that_comes_back_has_the_target(buyer, taster, place, target):
    sync(taster.client, [change("note", place.note.id, at=LATER, deleted=True)])
    merge(buyer, place.descriptor)
    removed_meanwhile = Note.objects.get(id=place.note.id).removed
    sync(taster.client, [change("note", place.note.id, at="2026-03-06T09:00:00Z", intensity=3)])

    assert (removed_meanwhile, key_of(place.note.id)) == (True, "wet_slate")
    assert not Note.objects.get(id=place.note.id).removed


def test_merging_the_target_takes_the_first_descriptor_along(buyer, taster, place, target):
    third = DescriptorFactory(team=taster.team, by=taster.user, key="stone", label="Stone")
    merge(buyer, place.descriptor)
    merge(buyer, target, into="stone")
    late = change("note", at=LATER, **place.new("note"))
    sync(taster.client, [late])

    assert (key_of(place.note.id), key_of(late["id"])) == ("stone", "stone")
    assert Descriptor.objects.get(id=third.id).synonyms == ["Wet slate", "roof tile", place.descriptor.label]


def test_descriptor_may_be_merged_into_a_built_in_one(buyer, taster, place):
    answer = merge(buyer, place.descriptor, into="wet_stone")
    read = taster.client.post("/api/v1/read", {"text": f"a lot of {place.descriptor.label}"}).json()["suggestions"]

    assert (answer.status_code, answer.json()["built_in"]) == (200, True)
    assert key_of(place.note.id) == "wet_stone"
    assert [(one["descriptor"], one["intensity"]) for one in read] == [("wet_stone", 7)]


def test_notes_of_private_sessions_move_too_and_stay_private(buyer, owner, taster, place, target):
    hidden = NoteFactory(session=SessionFactory(lot=place.lot, private=True), descriptor=place.descriptor)
    merge(buyer, place.descriptor)

    assert key_of(hidden.id) == "wet_slate"
    assert refusal(owner.client.get(f"/api/v1/notes/{hidden.id}/"))[:2] == (404, "not-here")
    assert str(hidden.id) not in str(sync(owner.client)["changes"])


def test_more_notes_than_one_push_takes_all_move(buyer, taster, place, target, monkeypatch):
    monkeypatch.setattr("tastings.actions.merging._BATCH_SIZE", 2)
    more = place.more("note", 4)
    merge(buyer, place.descriptor)

    assert {key_of(note.id) for note in more} == {"wet_slate"}


def test_merging_again_changes_nothing(buyer, taster, place, target):
    first = merge(buyer, place.descriptor)
    cursor = sync(taster.client)["cursor"]
    again = merge(buyer, place.descriptor)

    assert (again.status_code, again.json()) == (200, first.json())
    assert sync(taster.client)["cursor"] == cursor
    assert refusal(merge(buyer, place.descriptor, into="honey")) == (422, "invalid", {("into", "taken")})


def test_descriptor_brought_back_by_a_later_edit_is_no_longer_merged(buyer, taster, place, target):
    merge(buyer, place.descriptor)
    sync(taster.client, [change("descriptor", place.descriptor.id, at="2098-01-01T00:00:00Z", label="back")])
    late = change("note", at=LATER, **place.new("note"))
    sync(taster.client, [late])
    apart = (key_of(place.note.id), key_of(late["id"]))
    swapped = merge(buyer, target, into=place.descriptor.key)

    assert apart == ("wet_slate", place.descriptor.key)
    assert swapped.status_code == 200
    assert {key_of(place.note.id), key_of(late["id"])} == {place.descriptor.key}


def test_synonyms_stay_within_their_limit(buyer, taster, place, target):
    Descriptor.objects.filter(id=target.id).update(synonyms=[f"synonym {i}" for i in range(49)])
    Descriptor.objects.filter(id=place.descriptor.id).update(synonyms=["wet SLATE", "one", "two"])
    merge(buyer, place.descriptor)

    assert Descriptor.objects.get(id=target.id).synonyms[48:] == ["synonym 48", place.descriptor.label]


@pytest.mark.parametrize(
    ("sent", "problem"),
    [
        ({"into": "nowhere"}, ("into", "unknown_parent")),
        ({"into": "No key"}, ("into", "pattern")),
        ({"into": 3}, ("into", "type")),
        ({}, ("into", "required")),
        ({"into": "wet_slate", "by": 1}, ("by", "unknown_field")),
    ],
)
def test_merge_into_nothing_is_refused(buyer, place, target, sent, problem):
    answer = buyer.client.post(f"/api/v1/descriptors/{place.descriptor.id}/merge", sent)

    assert refusal(answer) == (422, "invalid", {problem})
    assert not Descriptor.objects.get(id=place.descriptor.id).removed


def test_descriptor_is_not_merged_into_itself_nor_into_another_teams(buyer, stranger, place, target):
    theirs = DescriptorFactory(team=stranger.team, by=stranger.user, key="theirs")

    assert refusal(merge(buyer, target))[2] == {("into", "itself")}
    assert refusal(merge(buyer, target, into=theirs.key))[2] == {("into", "unknown_parent")}


def test_tasters_viewers_and_outsiders_do_not_merge(taster, viewer, stranger, place, target):
    answers = [refusal(merge(one, place.descriptor))[:2] for one in (taster, viewer, stranger)]
    stored = FieldHistory.objects.count()

    assert answers == [(403, "not-allowed"), (403, "not-allowed"), (404, "not-here")]
    assert (stored, key_of(place.note.id)) == (0, place.descriptor.key)


def test_built_in_descriptor_is_not_merged(buyer, place, target):
    built_in = Descriptor.objects.get(team=None, key="honey")

    assert refusal(merge(buyer, built_in))[:2] == (403, "not-allowed")


def test_absent_descriptor_is_not_merged(buyer, place):
    assert refusal(buyer.client.post(f"/api/v1/descriptors/{uuid4()}/merge", {"into": "honey"}))[:2] == (
        404, "not-here",
    )  # fmt: skip


def test_merge_is_remembered_after_old_tombstones_are_deleted(buyer, taster, place, target):
    merge(buyer, place.descriptor)
    gone = DescriptorFactory(team=taster.team, by=taster.user, removed=True)
    buyer.client.delete(f"/api/v1/notes/{place.note.id}/")
    buyer.client.delete(f"/api/v1/descriptors/{target.id}/")
    prune(taster.team.id, now=datetime.now(UTC) + timedelta(days=500))
    left = set(Descriptor.objects.filter(team=taster.team).values_list("id", flat=True))
    late = change("note", at=LATER, **place.new("note"))
    sync(taster.client, [late], cursor=Team.objects.get(id=taster.team.id).revision)

    assert (left, gone.id in left) == ({place.descriptor.id, target.id}, False)
    assert key_of(late["id"]) == "wet_slate"


def test_merge_marks_the_lots_whose_notes_moved(buyer, taster, place, target):
    address = f"/api/v1/lots/{place.lot.id}/development"
    before = taster.client.get(address).json()["stale"]
    merge(buyer, place.descriptor)

    assert (before, taster.client.get(address).json()["stale"]) == (False, True)
