"""What a note's text suggests, who sees it, and that nothing counts before the taster accepts it."""

from uuid import uuid4

import pytest

from tastings.models import Descriptor, Note
from teams.models import Role
from tests.api.phone import change, sync
from tests.api.problems import refusal
from tests.api.records import Place, create
from tests.factories import DescriptorFactory

TEXT = "lots of honey, a touch of smoke, no bitterness, less orchid than before, no tar"


@pytest.fixture
def place(taster, lexicon):
    return Place(taster)


@pytest.fixture
def note(taster, place):
    """A note with a text, of the place's infusion."""
    beside = {"session": place.words["session"], "infusion": place.words["infusion"], "moment": "mouth"}
    return create(taster, "note", {**beside, "descriptor": "liking", "text": TEXT}).json()


def address(note, accept=False):
    return f"/api/v1/notes/{note['id']}/suggestions" + ("/accept" if accept else "")


def suggested(person, note):
    """Return what is suggested: (present, intensity, compared) by descriptor."""
    suggestions = person.client.get(address(note)).json()["suggestions"]
    return {one["descriptor"]: (one["present"], one["intensity"], one["compared"]) for one in suggestions}


def accept(person, note, *accepted, **headers):
    return person.client.post(address(note, accept=True), {"accept": list(accepted)}, **headers)


def notes_of(place):
    return {
        row.descriptor.key: (None if row.intensity is None else float(row.intensity), row.moment, row.infusion_id)
        for row in Note.objects.filter(session=place.session, removed=False).select_related("descriptor")
    }


def test_suggestions_are_shown_apart_and_make_no_notes(taster, place, note):
    before = notes_of(place)

    assert suggested(taster, note) == {
        "honey": (True, 7, None),
        "wood_smoke": (True, 2, None),
        "bitterness": (False, 0, None),
        "orchid": (True, None, "less"),
        "tar": (False, None, None),
    }
    assert notes_of(place) == before


def test_suggestion_tells_where_its_words_stand(taster, note):
    one = taster.client.get(address(note)).json()["suggestions"][1]

    assert one == {
        "descriptor": "wood_smoke", "label": "Wood smoke", "present": True, "intensity": 2, "compared": None,
        "degree": "touch of", "start": 26, "end": 31, "words": "smoke",
    }  # fmt: skip
    assert TEXT[26:31] == "smoke"


def test_accepted_suggestions_become_ordinary_notes_of_the_same_infusion_and_moment(taster, place, note):
    answer = accept(
        taster, note, {"descriptor": "honey"}, {"descriptor": "wood_smoke", "intensity": 3.2},
        {"descriptor": "orchid"}, {"descriptor": "bitterness"},
    )  # fmt: skip

    assert answer.status_code == 200, answer.content
    assert [(one["descriptor"], one["intensity"]) for one in answer.json()["results"]] == [
        ("honey", 7), ("wood_smoke", 3.2), ("orchid", None), ("bitterness", 0),
    ]  # fmt: skip
    here = ("mouth", place.infusion.id)
    made = {key: value for key, value in notes_of(place).items() if key not in ("liking", place.descriptor.key)}
    assert made == {
        "honey": (7, *here), "wood_smoke": (3.2, *here), "orchid": (None, *here), "bitterness": (0, *here),
    }  # fmt: skip


def test_accepted_notes_come_to_phones_and_mark_the_lot(taster, owner, place, note):
    cursor = sync(owner.client)["cursor"]
    [made] = accept(taster, note, {"descriptor": "honey"}).json()["results"]
    pulled = sync(owner.client, cursor=cursor)["changes"]

    assert [(one["id"], one["fields"]["descriptor"], one["by"]) for one in pulled] == [
        (made["id"], "honey", str(taster.user.id))
    ]
    assert owner.client.get(f"/api/v1/lots/{place.lot.id}/development").json()["stale"] is True


def test_accepting_again_changes_nothing(taster, place, note):
    first = accept(taster, note, {"descriptor": "honey"}).json()
    cursor = sync(taster.client)["cursor"]
    again = accept(taster, note, {"descriptor": "honey", "intensity": 1})

    assert (again.status_code, again.json()) == (200, first)
    assert sync(taster.client)["cursor"] == cursor
    assert suggested(taster, note).keys() == {"wood_smoke", "bitterness", "orchid", "tar"}


def test_what_is_noted_of_that_infusion_and_moment_is_not_suggested(taster, place, note):
    beside = {"session": place.words["session"], "infusion": place.words["infusion"]}
    own = create(taster, "note", {**beside, "moment": "mouth", "descriptor": "honey", "intensity": 4}).json()
    create(taster, "note", {**beside, "moment": "lid", "descriptor": "wood_smoke"})
    create(taster, "note", {"session": place.words["session"], "moment": "mouth", "descriptor": "orchid"})

    assert suggested(taster, note).keys() == {"wood_smoke", "bitterness", "orchid", "tar"}
    assert accept(taster, note, {"descriptor": "honey"}).json()["results"] == [own]


def test_deleted_note_may_be_accepted_again(taster, place, note):
    [made] = accept(taster, note, {"descriptor": "honey"}).json()["results"]
    taster.client.delete(f"/api/v1/notes/{made['id']}/")
    offered = suggested(taster, note)["honey"]
    [back] = accept(taster, note, {"descriptor": "honey"}).json()["results"]

    assert (offered, back["id"], notes_of(place)["honey"][0]) == ((True, 7, None), made["id"], 7)


def test_accepted_note_merges_with_a_phones_later_edit(taster, place, note):
    [made] = accept(taster, note, {"descriptor": "honey"}).json()["results"]
    sync(taster.client, [change("note", made["id"], at="2099-01-01T00:00:00Z", intensity=9)])

    assert accept(taster, note, {"descriptor": "honey"}).json()["results"][0]["intensity"] == 9


@pytest.mark.parametrize(
    ("accepted", "problem"),
    [
        ([{"descriptor": "peach"}], ("accept.0.descriptor", "choice")),
        ([{"descriptor": "honey"}, {"descriptor": "tar"}], ("accept.1.descriptor", "choice")),
        ([{"descriptor": "honey", "intensity": 11}], ("accept.0.intensity", "range")),
        ([{"descriptor": "honey", "intensity": 1.23}], ("accept.0.intensity", "step")),
        ([{"descriptor": "honey", "moment": "lid"}], ("accept.0.moment", "unknown_field")),
        ([{"descriptor": 3}], ("accept.0.descriptor", "type")),
        ([{}], ("accept.0.descriptor", "required")),
        ([{"descriptor": None}], ("accept.0.descriptor", "required")),
        (["honey"], ("accept.0", "type")),
        ([], ("accept", "type")),
        ("honey", ("accept", "type")),
        (None, ("accept", "required")),
        ([{"descriptor": "honey"}] * 101, ("accept", "type")),
    ],
)
def test_what_is_not_suggested_or_does_not_hold_is_refused_and_nothing_is_noted(taster, place, note, accepted, problem):
    before = notes_of(place)
    answer = taster.client.post(address(note, accept=True), {"accept": accepted})

    assert refusal(answer) == (422, "invalid", {problem})
    assert notes_of(place) == before


def test_only_the_taster_accepts(owner, place, note):
    assert refusal(accept(owner, note, {"descriptor": "honey"}))[:2] == (403, "not-allowed")
    assert "honey" not in notes_of(place)


def test_taster_who_only_reads_now_accepts_nothing(taster, place, note):
    taster.member.role = Role.VIEWER
    taster.member.save()

    assert refusal(accept(taster, note, {"descriptor": "honey"}))[:2] == (403, "not-allowed")


def test_if_match_guards_against_another_text(taster, place, note):
    taster.client.patch(f"/api/v1/notes/{note['id']}/", {"text": "honey"})
    stale = accept(taster, note, {"descriptor": "honey"}, HTTP_IF_MATCH=f'"{note["revision"]}"')
    fresh = accept(taster, note, {"descriptor": "honey"}, HTTP_IF_MATCH=f'"{note["revision"] + 1}"')

    assert (refusal(stale)[:2], fresh.status_code) == ((412, "changed"), 200)


def test_suggestions_of_a_private_session_are_its_tasters_alone(taster, owner, place, note):
    taster.client.patch(f"/api/v1/sessions/{place.session.id}/", {"private": True})

    assert taster.client.get(address(note)).status_code == 200
    assert refusal(owner.client.get(address(note)))[:2] == (404, "not-here")
    assert refusal(accept(owner, note, {"descriptor": "honey"}))[:2] == (404, "not-here")


def test_suggestions_answer_304_while_they_hold(taster, place, note):
    first = taster.client.get(address(note))
    same = taster.client.get(address(note), HTTP_IF_NONE_MATCH=first["ETag"])
    accept(taster, note, {"descriptor": "honey"})
    other = taster.client.get(address(note), HTTP_IF_NONE_MATCH=first["ETag"])

    assert (first.status_code, same.status_code, other.status_code) == (200, 304, 200)


def test_note_without_a_text_suggests_nothing(taster, place):
    answer = taster.client.get(f"/api/v1/notes/{place.note.id}/suggestions").json()

    assert answer == {"note": str(place.note.id), "revision": place.note.revision, "suggestions": []}


def test_any_text_is_read_with_the_teams_words_and_nothing_is_kept(viewer, stranger, lexicon):
    DescriptorFactory(team=viewer.team, by=viewer.user, key="porch", label="Porch", synonyms=["wet veranda"])
    sent = {"text": "strong wet veranda and honey"}
    mine, theirs = (one.client.post("/api/v1/read", sent).json()["suggestions"] for one in (viewer, stranger))

    assert [(one["descriptor"], one["label"], one["intensity"]) for one in mine] == [
        ("porch", "Porch", 7), ("honey", "Honey", None),
    ]  # fmt: skip
    assert [one["descriptor"] for one in theirs] == ["honey"]
    assert not Note.objects.exists()


@pytest.mark.parametrize(
    ("sent", "problem"),
    [
        ({}, ("text", "required")),
        ({"text": None}, ("text", "required")),
        ({"text": "a" * 8001}, ("text", "too_long")),
        ({"text": "\ud800"}, ("text", "characters")),
        ({"text": "honey", "lot": "x"}, ("lot", "unknown_field")),
        ([], ("", "type")),
    ],
)
def test_text_that_does_not_hold_is_refused(taster, sent, problem):
    assert refusal(taster.client.post("/api/v1/read", sent, format="json")) == (422, "invalid", {problem})


def test_renamed_word_is_read_by_its_new_label_and_keeps_the_old_in_its_history(taster, lexicon):
    word = create(taster, "descriptor", {"key": "veranda", "label": "wet veranda"}).json()
    taster.client.patch(f"/api/v1/descriptors/{word['id']}/", {"label": "porch after rain"})
    read = taster.client.post("/api/v1/read", {"text": "porch after rain"}).json()["suggestions"]
    history = taster.client.get(f"/api/v1/descriptors/{word['id']}/history").json()["overwritten"]

    assert [one["descriptor"] for one in read] == ["veranda"]
    assert [(one["field"], one["value"]) for one in history] == [("label", "wet veranda")]


def test_reading_takes_the_same_queries_whatever_the_words(taster, place, note, django_assert_num_queries):
    DescriptorFactory.create_batch(5, team=taster.team, by=taster.user)
    taster.client.get(address(note))  # the lexicon is made once
    with django_assert_num_queries(5):
        taster.client.get(address(note))
    assert Descriptor.objects.filter(team=taster.team).count() == 6


def test_absent_note_has_no_suggestions(taster, place):
    assert refusal(taster.client.get(f"/api/v1/notes/{uuid4()}/suggestions"))[:2] == (404, "not-here")
