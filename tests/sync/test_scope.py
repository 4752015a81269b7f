"""A phone that wants the last days and some lots only has what a fresh one has, whatever it wanted before."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.utils import timezone

from table.phone import MemoryStore, Phone, PhoneOptions
from tastings.models import Photo
from tastings.queries.scope import InvalidScopeTokenError, Scope, ScopeToken
from tests.api.phone import change, post_sync, sync
from tests.api.problems import refusal
from tests.api.records import Place
from tests.api.test_tenancy import stored_photo
from tests.factories import ABSENT_ID, InfusionFactory, LotFactory, NoteFactory, SessionFactory
from tests.sync.wire import Wire

pytestmark = pytest.mark.django_db


@pytest.fixture
def past(taster, lexicon):
    """Two sessions of two lots, one of today and one of 300 days ago, each with a pour and two notes."""
    made = []
    for days in (0, 300):
        at = timezone.now() - timedelta(days=days)
        session = SessionFactory(lot=LotFactory(team=taster.team), started_at=at, by=taster.user)
        pour = InfusionFactory(session=session)
        made.append((session, [pour, NoteFactory(session=session), NoteFactory(session=session, infusion=pour)]))
    return made


def phone_of(who, *, page_size=500):
    store = MemoryStore()
    store.append({"event": "signed", "token": who.token})
    return Phone(Wire(lambda *_: None), store=store, options=PhoneOptions(page_size=page_size))


def has(phone):
    return {one.id for name in ("infusion", "note") for one in phone.records(name)}


def ids(*groups):
    return {str(one.id) for _, children in groups for one in children}


def narrow(phone, **scope):
    phone.set_scope(**scope)
    return phone.sync()


@pytest.mark.parametrize("page_size", [1, 2, 500])
def test_scope_narrows_widens_and_pins(taster, past, page_size):
    recent, old = past
    phone = phone_of(taster, page_size=page_size)
    phone.sync()
    assert has(phone) == ids(recent, old)
    narrow(phone, days=30)
    assert has(phone) == ids(recent)
    assert {one.id for one in phone.records("session")} == {str(recent[0].id), str(old[0].id)}
    narrow(phone, days=30, lots=[str(old[0].lot_id)])
    assert has(phone) == ids(recent, old)
    narrow(phone, days=0)
    assert has(phone) == ids(recent)
    narrow(phone, days=301)
    assert has(phone) == ids(recent, old)
    assert phone.sync().pulled == 0
    narrow(phone, days=0)
    narrow(phone, days=None)
    assert (has(phone), phone.sync().pulled) == (ids(recent, old), 0)


def test_first_pull_with_a_scope_holds_nothing_else(taster, past):
    recent, old = past
    answer = sync(taster.client, scope={"days": 30})
    assert {one["id"] for one in answer["changes"]} & ids(recent, old) == ids(recent)
    assert not any("out_of_scope" in one for one in answer["changes"])
    again = sync(taster.client, scope={"days": 30}, cursor=answer["cursor"], scope_token=answer["scope_token"])
    assert (again["changes"], again["more"]) == ([], False)


def test_what_leaves_is_marked_apart_from_what_is_deleted(taster, past):
    _, old = past
    everything = sync(taster.client)
    answer = sync(taster.client, scope={"days": 30}, cursor=everything["cursor"])
    marked = {"deleted": True, "out_of_scope": True, "fields": {}}
    assert {one["id"]: one for one in answer["changes"]} == {
        str(one.id): {"type": one.schema.type, "id": str(one.id), "revision": one.revision, **marked} for one in old[1]
    }
    assert (answer["cursor"], answer["more"]) == (everything["cursor"], True)


def test_lost_answer_is_asked_for_again_by_the_same_token(taster, past):
    everything = sync(taster.client)
    body = {"scope": {"days": 30}, "cursor": everything["cursor"], "limit": 2}
    first = sync(taster.client, **body)
    assert sync(taster.client, **body)["changes"] == first["changes"]
    second = sync(taster.client, **body, scope_token=first["scope_token"])
    assert {one["id"] for one in (*first["changes"], *second["changes"])} == ids(past[1])


def test_session_moves_out_of_and_into_the_scope_by_its_own_day(taster, past):
    recent, old = past
    phone = phone_of(taster)
    narrow(phone, days=30)
    taster.client.patch(f"/api/v1/sessions/{recent[0].id}/", {"started_at": "2019-05-01T10:00:00Z"})
    phone.sync()
    assert has(phone) == set()
    taster.client.patch(f"/api/v1/sessions/{old[0].id}/", {"started_at": timezone.now().isoformat()})
    phone.sync()
    assert has(phone) == ids(old)


def test_days_move_on(taster, past, monkeypatch):
    phone = phone_of(taster)
    narrow(phone, days=30)
    assert has(phone) == ids(past[0])
    later = timezone.now() + timedelta(days=31)
    monkeypatch.setattr(timezone, "now", lambda: later)
    phone.sync()
    assert has(phone) == set()


def test_photos_of_sessions_come_and_go_and_those_of_lots_stay(taster):
    place = Place(taster)
    photo = stored_photo(place, taster)
    of_lot = Photo.objects.create(
        id=ABSENT_ID, lot=place.lot, team=taster.team, by=taster.user, of="dry_leaf", sha256="d" * 64, bytes=9,
        created_at=timezone.now(), touched_at=timezone.now(),
    )  # fmt: skip
    place.session.started_at = timezone.now() - timedelta(days=90)
    place.session.save()
    phone = phone_of(taster)
    narrow(phone, days=60)
    assert [one.id for one in phone.records("photo")] == [str(of_lot.id)]
    narrow(phone, days=120)
    assert {one.id for one in phone.records("photo")} == {str(photo.id), str(of_lot.id)}


def test_pull_with_a_scope_brings_new_photos_and_none_that_never_came(taster, past):
    (recent, _), (old, _) = past
    same = {"team": taster.team, "by": taster.user, "of": "dry_leaf", "sha256": "d" * 64, "bytes": 9}
    same |= {"created_at": timezone.now(), "touched_at": timezone.now()}

    def photo(**about):
        return str(Photo.objects.create(id=uuid4(), **same, **about).id)

    here = [photo(session=recent), photo(lot=recent.lot)]
    photo(session=old)
    first = sync(taster.client, scope={"days": 30})
    assert [one["id"] for one in first["changes"] if one["type"] == "photo"] == here
    new = [photo(lot=recent.lot), photo(session=recent)]
    following = sync(taster.client, scope={"days": 30}, cursor=first["cursor"], scope_token=first["scope_token"])
    assert [one["id"] for one in following["changes"]] == new


def test_unsent_edit_of_what_leaves_is_sent(taster, past):
    _, old = past
    phone = phone_of(taster)
    phone.sync()
    note = str(old[1][1].id)
    phone.edit("note", note, {"text": "still floral"})
    narrow(phone, days=30)
    assert (phone.record(note), phone.unsent) == (None, [])
    narrow(phone, days=None)
    assert phone.record(note).fields["text"] == "still floral"


def test_private_sessions_of_others_do_not_enter(taster, buyer, past):
    recent, old = past
    phone = phone_of(buyer)
    narrow(phone, days=30)
    taster.client.patch(f"/api/v1/sessions/{old[0].id}/", {"private": True})
    narrow(phone, days=None)
    assert has(phone) == ids(recent)


@pytest.mark.parametrize(
    ("scope", "field", "code"),
    [
        ([], "scope", "type"),
        ({}, "scope.days", "required"),
        ({"days": None}, "scope.days", "required"),
        ({"days": True}, "scope.days", "type"),
        ({"days": "5"}, "scope.days", "type"),
        ({"days": 1.5}, "scope.days", "type"),
        ({"days": -1}, "scope.days", "range"),
        ({"days": 36_501}, "scope.days", "range"),
        ({"days": 1, "lots": "x"}, "scope.lots", "type"),
        ({"days": 1, "lots": None}, "scope.lots", "required"),
        ({"days": 1, "lots": [str(ABSENT_ID)] * 101}, "scope.lots", "range"),
        ({"days": 1, "lots": ["x"]}, "scope.lots", "id"),
        ({"days": 1, "shops": []}, "scope.shops", "unknown_field"),
    ],
)
def test_bad_scope_is_named_and_nothing_is_applied(taster, scope, field, code):
    made = change("lot", name="Mist Ridge", kind="oolong")
    assert refusal(post_sync(taster.client, scope=scope, changes=[made])) == (422, "invalid", {(field, code)})
    assert taster.client.get(f"/api/v1/lots/{made['id']}/").status_code == 404


@pytest.mark.parametrize("text", ["", "x", "e30", "WzFd", "W251bGwsLTFd", "W251bGwsMSxudWxsLFsibG90IiwieCJdXQ", 7])
def test_bad_token_is_refused(taster, text):
    answer = post_sync(taster.client, scope={"days": 1}, cursor=1, scope_token=text)
    assert refusal(answer) == (422, "invalid", {("scope_token", "wrong")})


def test_token_is_read_as_it_was_written():
    narrow = Scope.of(days=3, lots=[ABSENT_ID], now=timezone.now())
    begun = ScopeToken(scope=None, revision_at_start=7).changing_to(narrow)
    for token in (ScopeToken(scope=narrow), begun, begun.changed(), ScopeToken(scope=narrow).changing_to(None)):
        assert ScopeToken.decode(token.encode()) == token
    with pytest.raises(InvalidScopeTokenError):
        ScopeToken.decode(begun.encode()[:-3])
