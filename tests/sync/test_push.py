"""What becomes of a phone's edits."""

from datetime import timedelta
from uuid import UUID, uuid4

import pytest
from django.utils import timezone

from lots.models import FieldHistory, Lot
from tastings.models import Descriptor, Development, Infusion, Note, Session
from teams.models import Team
from tests.api.phone import change, pulled_records, sync, verdict_names
from tests.api.records import Place
from tests.factories import DEVICE, InfusionFactory, LotFactory, SessionFactory, person

pytestmark = pytest.mark.django_db
OTHER_PHONE = UUID("00000000-0000-7000-8000-000000000002")
SESSION = {"started_at": "2026-03-04T10:00:00Z", "leaf_g": 5, "vessel_ml": 110}


def pot(lot, *, infusions=8, notes_each=12, keys=("strength",)):
    """A lot's session as one afternoon leaves it on a phone."""
    session, changes = uuid4(), []
    changes.append(change("session", session, lot=str(lot), **SESSION))
    for number in range(1, infusions + 1):
        infusion = uuid4()
        changes.append(
            change("infusion", infusion, session=str(session), number=number, steep_s=10 + 5 * number, kettle_c=99)
        )
        changes += [
            change(
                "note",
                session=str(session),
                infusion=str(infusion),
                moment="mouth",
                descriptor=keys[i % len(keys)],
                intensity=5.5,
            )
            for i in range(notes_each)
        ]
    return session, changes


def test_an_afternoon_in_one_body_is_stored_and_comes_back(taster, lexicon):
    lot = uuid4()
    session, changes = pot(lot)
    sent = [change("lot", lot, name="Mist Ridge", kind="oolong"), *changes]
    before = sync(taster.client)["cursor"]
    answer = sync(taster.client, sent)
    assert verdict_names(answer) == ["applied"] * len(sent)
    assert [v["id"] for v in answer["verdicts"]] == [c["id"] for c in sent]
    assert (Infusion.objects.count(), Note.objects.count()) == (8, 96)
    assert {c["id"] for c in pulled_records(answer["changes"])} == {c["id"] for c in sent}
    assert (answer["cursor"], answer["more"]) == (before + len(sent), False)
    pulled = next(c for c in answer["changes"] if c["id"] == str(session))
    assert pulled["fields"]["taster"] == pulled["by"] == str(taster.user.id)
    assert pulled["fields"]["leaf_g"] == 5


def test_children_sent_before_their_parents_are_taken(taster, lexicon):
    lot = uuid4()
    _, changes = pot(lot, infusions=2)
    sent = [*reversed(changes), change("lot", lot, name="Mist Ridge", kind="oolong")]
    assert verdict_names(sync(taster.client, sent)) == ["applied"] * len(sent)


def test_a_lot_may_name_a_sample_that_comes_later_in_the_body(buyer):
    sample, bought = uuid4(), uuid4()
    sent = [
        change("lot", bought, name="Bought", kind="oolong", from_lot=str(sample)),
        change("lot", sample, name="Sample", kind="oolong", status="sample"),
    ]
    assert verdict_names(sync(buyer.client, sent)) == ["applied", "applied"]


def test_the_same_body_twice_changes_nothing_and_answers_the_same_state(taster, lexicon):
    lot = uuid4()
    sent = [change("lot", lot, name="Mist Ridge", kind="oolong"), *pot(lot, infusions=2)[1]]
    first = sync(taster.client, sent)
    again = sync(taster.client, sent)
    assert verdict_names(again) == ["unchanged"] * len(sent)
    assert [v["revision"] for v in again["verdicts"]] == [v["revision"] for v in first["verdicts"]]
    assert again["changes"] == first["changes"]
    assert again["cursor"] == first["cursor"]


def test_unknown_values_have_one_form_and_sent_again_change_nothing(taster, lexicon):
    session = SessionFactory(lot__team=taster.team, by=taster.user)
    sent = [
        change("note", session=str(session.id), moment="lid", descriptor="strength", text="", intensity=None),
        change("descriptor", key="wet_slate", label="wet slate", synonyms=None, family=""),
        change("descriptor", key="dry_slate", label="dry slate", synonyms=[]),
        change("session", session.id, water="", warmed=None, private=None),
    ]
    assert verdict_names(sync(taster.client, sent)) == ["applied"] * 4
    assert verdict_names(sync(taster.client, sent)) == ["unchanged"] * 4
    assert not FieldHistory.objects.exists()


@pytest.mark.parametrize("unset", ["00000000-0000-0000-0000-000000000000", "0" * 32, "F" * 32])
def test_nil_and_max_are_no_ids(taster, unset):
    """RFC 9562, sections 5.9 and 5.10: what a client sends that forgot to make an id."""
    answer = sync(taster.client, [change("lot", unset, name="Mist Ridge", kind="oolong")])
    assert [(p["field"], p["code"]) for p in answer["verdicts"][0]["problems"]] == [("id", "id")]
    assert taster.client.post("/api/v1/lots/", {"id": unset, "name": "Mist Ridge", "kind": "oolong"}).status_code == 422


@pytest.mark.parametrize("text", ["", "  ", "\u200b", "\n"])
def test_a_new_note_without_a_word_to_read_is_refused(taster, lexicon, text):
    session = SessionFactory(lot__team=taster.team, by=taster.user)
    answer = sync(taster.client, [change("note", session=str(session.id), moment="mouth", text=text)])
    assert verdict_names(answer) == ["refused"]
    assert [(p["field"], p["code"]) for p in answer["verdicts"][0]["problems"]] == [("descriptor", "required")]


def test_a_note_is_edited_and_deleted_without_naming_its_descriptor(taster, lexicon):
    session = SessionFactory(lot__team=taster.team, by=taster.user)
    note = change("note", session=str(session.id), moment="lid", descriptor="strength", intensity=4)
    sync(taster.client, [note])
    later = [change("note", note["id"], at="2026-03-04T12:40:00Z", intensity=7)]
    assert verdict_names(sync(taster.client, later)) == ["applied"]
    assert taster.client.get(f"/api/v1/notes/{note['id']}/").json()["intensity"] == 7
    gone = [change("note", note["id"], at="2026-03-04T12:50:00Z", deleted=True)]
    assert verdict_names(sync(taster.client, gone)) == ["applied"]


def test_fields_merge_one_by_one_and_what_lost_is_kept(taster, buyer):
    infusion = InfusionFactory(session__lot__team=taster.team, session__by=taster.user, steep_s=15, kettle_c=100)
    first = str(infusion.by_id)
    late = change("infusion", infusion.id, at="2026-03-04T13:00:00Z", steep_s=20)
    early = change("infusion", infusion.id, at="2026-03-04T12:59:00Z", steep_s=30, remarks="thin")
    assert verdict_names(sync(taster.client, [late])) == ["applied"]
    answer = sync(buyer.client, [early], device=OTHER_PHONE)
    assert verdict_names(answer) == ["merged"]
    infusion.refresh_from_db()
    assert (infusion.steep_s, infusion.remarks, infusion.kettle_c) == (20, "thin", 100)
    history = buyer.client.get(f"/api/v1/infusions/{infusion.id}/history").json()
    assert [(h["field"], h["value"], h["device"], h["by"]) for h in history["overwritten"]] == [
        ("steep_s", 30, str(OTHER_PHONE), str(buyer.user.id)),
        ("steep_s", 15, str(DEVICE), first),
    ]
    assert verdict_names(sync(buyer.client, [early], device=OTHER_PHONE)) == ["unchanged"]
    assert FieldHistory.objects.count() == 2


def test_a_deletion_and_a_later_edit(taster):
    infusion = InfusionFactory(session__lot__team=taster.team, session__by=taster.user)
    gone = change("infusion", infusion.id, at="2026-03-04T13:00:00Z", deleted=True)
    assert verdict_names(sync(taster.client, [gone])) == ["applied"]
    [pulled] = [c for c in sync(taster.client)["changes"] if c["id"] == str(infusion.id)]
    assert (pulled["deleted"], pulled["fields"]) == (True, {})
    assert taster.client.get(f"/api/v1/infusions/{infusion.id}/").status_code == 404
    early = change("infusion", infusion.id, at="2026-03-04T12:59:00Z", remarks="written before")
    assert verdict_names(sync(taster.client, [early])) == ["merged"]
    assert taster.client.get(f"/api/v1/infusions/{infusion.id}/").status_code == 404
    late = change("infusion", infusion.id, at="2026-03-04T13:01:00Z", steep_s=25)
    assert verdict_names(sync(taster.client, [late])) == ["applied"]
    back = taster.client.get(f"/api/v1/infusions/{infusion.id}/").json()
    assert (back["steep_s"], back["remarks"]) == (25, "written before")


@pytest.mark.parametrize("type_name", ["lot", "session", "infusion", "note", "descriptor"])
def test_a_deletion_sent_again_changes_nothing(taster, type_name):
    record = getattr(Place(taster), type_name)
    gone = [change(type_name, record.id, deleted=True)]
    first, again = sync(taster.client, gone), sync(taster.client, gone)
    assert (verdict_names(first), verdict_names(again)) == (["applied"], ["unchanged"])
    assert first["verdicts"][0]["revision"] == again["verdicts"][0]["revision"]
    assert not FieldHistory.objects.exists()
    later = [change(type_name, record.id, at="2026-03-04T12:50:00Z", deleted=True)]
    assert verdict_names(sync(taster.client, later)) == ["applied"]
    assert not FieldHistory.objects.exists()


def test_an_edit_may_come_before_the_one_that_makes_its_record(taster):
    lot = uuid4()
    sent = [
        change("lot", lot, at="2026-03-04T12:40:00Z", remarks="later thought"),
        change("lot", lot, name="Mist Ridge", kind="oolong"),
    ]
    assert verdict_names(sync(taster.client, sent)) == ["applied", "applied"]
    assert verdict_names(sync(taster.client, sent)) == ["unchanged", "unchanged"]


def test_a_phone_cannot_change_a_built_in_descriptor(taster, lexicon):
    word = Descriptor.objects.get(key="strength")
    sent = [change("descriptor", word.id, label="Mine"), change("descriptor", word.id, deleted=True)]
    assert [v["problems"][0]["code"] for v in sync(taster.client, sent)["verdicts"]] == ["not_allowed"] * 2


def test_a_bad_change_is_refused_alone(taster, lexicon):
    session, changes = pot(LotFactory(team=taster.team).id, infusions=1, notes_each=2)
    changes[2]["fields"]["intensity"] = 11
    answer = sync(taster.client, changes)
    assert verdict_names(answer) == ["applied", "applied", "refused", "applied"]
    assert answer["verdicts"][2]["problems"] == [
        {"field": "intensity", "code": "range", "detail": "must be at most 10"}
    ]
    assert answer["verdicts"][2]["revision"] is None
    assert Note.objects.filter(session_id=session).count() == 1


def test_an_unknown_parent_is_named_and_children_of_a_refused_record_are_refused(taster, lexicon):
    _, changes = pot(uuid4(), infusions=1, notes_each=1)
    before = sync(taster.client)["cursor"]
    answer = sync(taster.client, changes)
    assert verdict_names(answer) == ["refused"] * 3
    problems = [[(p["field"], p["code"]) for p in v["problems"]] for v in answer["verdicts"]]
    assert problems[0] == [("lot", "unknown_parent")]
    assert problems[1] == [("session", "unknown_parent")]
    assert ("session", "unknown_parent") in problems[2]
    assert not Session.objects.exists()
    assert answer["cursor"] == Team.objects.get(id=taster.team.id).revision == before


def test_a_clock_ahead_gets_the_servers_moment_and_what_it_reported_is_kept(taster, buyer):
    infusion = InfusionFactory(session__lot__team=taster.team, session__by=taster.user)
    ahead = change("infusion", infusion.id, at="2027-11-25T10:00:00Z", steep_s=30)
    assert verdict_names(sync(taster.client, [ahead])) == ["applied"]
    now = (timezone.now() + timedelta(seconds=90)).isoformat()  # within the leeway: taken as it is
    correction = change("infusion", infusion.id, at=now, steep_s=40)
    assert verdict_names(sync(buyer.client, [correction], device=OTHER_PHONE)) == ["applied"]
    assert verdict_names(sync(taster.client, [ahead])) == ["unchanged"]  # sent again, it does not win
    infusion.refresh_from_db()
    assert infusion.steep_s == 40
    history = taster.client.get(f"/api/v1/infusions/{infusion.id}/history").json()["overwritten"]
    assert [h["claimed_at"] for h in history if h["value"] == 30] == ["2027-11-25T10:00:00.000000Z"]


def test_a_whole_session_can_be_renumbered_at_once(taster):
    session = SessionFactory(lot__team=taster.team, by=taster.user)
    poured = [InfusionFactory(session=session, number=n) for n in (1, 2, 3)]
    sent = [change("infusion", i.id, number=i.number + 1) for i in poured]
    rinse = change("infusion", session=str(session.id), number=1, steep_s=5, kettle_c=100)
    assert verdict_names(sync(taster.client, [*sent, rinse])) == ["applied"] * 4
    assert sorted(session.infusions.values_list("number", flat=True)) == [1, 2, 3, 4]


def test_a_number_that_is_taken_is_refused_and_other_edits_of_the_record_stand(taster):
    session = SessionFactory(lot__team=taster.team, by=taster.user)
    InfusionFactory(session=session, number=1)
    second = InfusionFactory(session=session, number=2)
    sent = [
        change("infusion", second.id, number=1),
        change("infusion", second.id, remarks="stands"),
        change("infusion", session=str(session.id), number=1, steep_s=5, kettle_c=100),
    ]
    answer = sync(taster.client, sent)
    assert verdict_names(answer) == ["refused", "applied", "refused"]
    assert answer["verdicts"][0]["problems"][0]["code"] == "taken"
    second.refresh_from_db()
    assert (second.number, second.remarks) == (2, "stands")


def test_an_infusion_comes_back_only_while_its_number_is_free(taster):
    session = SessionFactory(lot__team=taster.team, by=taster.user)
    gone, other = (InfusionFactory(session=session, number=n) for n in (1, 2))
    sync(taster.client, [change("infusion", gone.id, deleted=True)])
    sync(taster.client, [change("infusion", other.id, at="2026-03-04T12:40:00Z", number=1)])
    [verdict] = sync(taster.client, [change("infusion", gone.id, at="2026-03-04T12:50:00Z", steep_s=9)])["verdicts"]
    assert [(p["field"], p["code"]) for p in verdict["problems"]] == [("number", "taken")]
    sync(taster.client, [change("infusion", other.id, at="2026-03-04T12:55:00Z", deleted=True)])
    again = [change("infusion", gone.id, at="2026-03-04T12:50:00Z", steep_s=9)]
    assert verdict_names(sync(taster.client, again)) == ["applied"]


def test_two_new_infusions_of_one_number_in_one_body_keep_the_first(taster):
    session = SessionFactory(lot__team=taster.team, by=taster.user)
    sent = [
        change("infusion", session=str(session.id), number=1, steep_s=5, kettle_c=100),
        change("infusion", session=str(session.id), number=1, steep_s=6, kettle_c=100),
    ]
    assert verdict_names(sync(taster.client, sent)) == ["applied", "refused"]


def test_a_note_cannot_take_another_sessions_infusion(taster, lexicon):
    session = SessionFactory(lot__team=taster.team, by=taster.user)
    elsewhere = InfusionFactory(session__lot=session.lot, session__by=session.by)
    note = change(
        "note", session=str(session.id), infusion=str(elsewhere.id), moment="mouth", descriptor="strength", intensity=4
    )
    answer = sync(taster.client, [note])
    assert [(p["field"], p["code"]) for p in answer["verdicts"][0]["problems"]] == [("infusion", "other_session")]


def test_a_viewer_reads_but_every_change_is_refused(viewer, taster):
    LotFactory(team=taster.team, name="Seen")
    answer = sync(viewer.client, [change("lot", name="Mine", kind="green")])
    assert [(v["verdict"], v["problems"][0]["code"]) for v in answer["verdicts"]] == [("refused", "not_allowed")]
    assert [c["fields"]["name"] for c in pulled_records(answer["changes"])] == ["Seen"]


def test_only_the_taster_makes_a_session_private(taster, buyer):
    session = SessionFactory(lot__team=taster.team, by=taster.user)
    sent = [change("session", session.id, private=True)]
    assert verdict_names(sync(buyer.client, sent, device=OTHER_PHONE)) == ["refused"]
    assert verdict_names(sync(taster.client, sent)) == ["applied"]


def test_a_teams_own_descriptor_is_created_and_used_in_one_body(taster):
    session = SessionFactory(lot__team=taster.team, by=taster.user)
    sent = [
        change("note", session=str(session.id), moment="lid", descriptor="wet_slate"),
        change("descriptor", key="wet_slate", label="wet slate"),
    ]
    assert verdict_names(sync(taster.client, sent)) == ["applied", "applied"]
    assert taster.client.get(f"/api/v1/notes/{sent[0]['id']}/").json()["descriptor"] == "wet_slate"


def test_a_key_of_a_built_in_descriptor_is_taken(taster, lexicon):
    answer = sync(taster.client, [change("descriptor", key="strength", label="My strength")])
    assert answer["verdicts"][0]["problems"][0]["code"] == "taken"


def test_an_edit_of_a_session_makes_its_lot_due_and_a_move_makes_both(taster):
    old, new = LotFactory(team=taster.team), LotFactory(team=taster.team)
    session = SessionFactory(lot=old, by=taster.user)
    sync(taster.client, [change("session", session.id, leaf_g=6)])
    assert set(Development.objects.values_list("lot_id", flat=True)) == {old.id}
    answer = sync(taster.client, [change("session", session.id, at="2026-03-04T12:40:00Z", lot=str(new.id))])
    due = dict(Development.objects.values_list("lot_id", "due_revision"))
    assert due == {old.id: answer["cursor"], new.id: answer["cursor"]}


def test_a_word_that_is_rated_from_now_on_makes_lots_due_that_have_notes_of_it(taster):
    place, hidden = Place(taster), Place(taster, private=True)
    Place(taster)  # with notes of another word
    word = [change("descriptor", one.descriptor.id, rated_each_infusion=True) for one in (place, hidden)]
    other = SessionFactory(lot__team=taster.team, by=taster.user)
    sync(taster.client, [*word, change("session", other.id, leaf_g=6)])
    assert set(Development.objects.values_list("lot_id", flat=True)) == {place.lot.id, other.lot_id}


def test_a_record_has_who_made_it_and_when_and_who_changed_it_last(taster, buyer):
    session = change("session", lot=str(LotFactory(team=taster.team).id), **SESSION)
    lot = change("lot", name="Mist Ridge", kind="oolong")
    before = timezone.now()
    first = sync(taster.client, [session, lot])
    made = {row.id: row for model in (Session, Lot) for row in model.objects.filter(id__in=(session["id"], lot["id"]))}
    sync(
        buyer.client, [change(one["type"], one["id"], at="2026-03-04T12:40:00Z", remarks="x") for one in (session, lot)]
    )
    for verdict, row in zip(first["verdicts"], (made[UUID(one["id"])] for one in (session, lot)), strict=True):
        assert before < row.created_at == row.updated_at
        assert (row.author_id, row.by_id, row.team_id) == (taster.user.id, taster.user.id, taster.team.id)
        assert row.revision == verdict["revision"]
        changed = type(row).objects.get(id=row.id)
        assert (changed.author_id, changed.by_id, changed.created_at) == (taster.user.id, buyer.user.id, row.created_at)
        assert changed.updated_at > row.updated_at


def test_a_private_session_makes_nothing_due_until_it_is_shared(taster):
    lot, session = LotFactory(team=taster.team), uuid4()
    sync(taster.client, [change("session", session, lot=str(lot.id), private=True, **SESSION)])
    assert not Development.objects.exists()
    sync(taster.client, [change("session", session, at="2026-03-04T12:40:00Z", private=False)])
    assert Development.objects.get().lot_id == lot.id


def test_a_few_statements_however_many_records(taster, lexicon, django_assert_num_queries):
    sync(taster.client)
    _, small = pot(LotFactory(team=taster.team).id, infusions=1, notes_each=1)
    _, large = pot(LotFactory(team=taster.team).id, infusions=8, notes_each=12)
    revision = Team.objects.get(id=taster.team.id).revision
    with django_assert_num_queries(17):
        cursor = sync(taster.client, small, cursor=revision)["cursor"]
    with django_assert_num_queries(17):
        sync(taster.client, large, cursor=cursor)


def test_only_the_change_that_the_database_refuses_is_refused(taster, monkeypatch):
    """As when another team has used the same new id after it was looked up."""
    theirs = LotFactory(team=Team.objects.create(name="Second House"))
    monkeypatch.setattr("tastings.actions.push.reading.readable_by_kind", lambda _: {})
    lot = uuid4()
    sent = [
        change("session", lot=str(lot), **SESSION),
        change("lot", theirs.id, name="Ours", kind="green"),
        change("lot", lot, name="Mist Ridge", kind="oolong"),
    ]
    answer = sync(taster.client, sent)
    assert verdict_names(answer) == ["applied", "refused", "applied"]
    refused = {"field": "", "code": "conflict", "detail": "does not fit with what is stored"}
    assert (answer["verdicts"][1]["id"], answer["verdicts"][1]["problems"]) == (str(theirs.id), [refused])


def test_another_members_private_session_looks_absent(taster, buyer, lexicon):
    session = SessionFactory(lot__team=taster.team, by=buyer.user, private=True)
    infusion = InfusionFactory(session=session)
    hidden = [
        change("session", session.id, leaf_g=9),
        change("infusion", infusion.id, steep_s=9),
        change("infusion", infusion.id, deleted=True),
        change("infusion", session=str(session.id), number=5, steep_s=5, kettle_c=90),
    ]
    unknown = uuid4()
    absent = [
        change("session", uuid4(), leaf_g=9),
        change("infusion", unknown, steep_s=9),
        change("infusion", unknown, deleted=True),
        change("infusion", session=str(uuid4()), number=5, steep_s=5, kettle_c=90),
    ]
    seen, nothing = sync(taster.client, hidden), sync(taster.client, absent)
    assert [v["problems"] for v in seen["verdicts"]] == [v["problems"] for v in nothing["verdicts"]]
    infusion.refresh_from_db()
    assert infusion.steep_s == 15


def test_two_people_of_two_teams_with_one_login_stay_apart(taster):
    other = person(Team.objects.create(name="Second House"), "owner")
    lot = LotFactory(team=other.team, name="Theirs")
    answer = sync(taster.client, [change("lot", lot.id, name="Ours now", kind="green")])
    assert [p["code"] for p in answer["verdicts"][0]["problems"]] == ["taken"]
    lot.refresh_from_db()
    assert lot.name == "Theirs"
