"""Reference phones against the real application."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.utils import timezone

from lots.models import Lot
from table.phone import (
    HttpTransport,
    JournalStore,
    MemoryStore,
    Phone,
    PhoneOptions,
    RetryPolicy,
    SignedOutError,
    UnreachableError,
)
from tastings.actions.pruning import prune_all
from tastings.models import Session
from teams.models import DeviceToken
from tests.config.launching import eventually
from tests.factories import LotFactory, TeamFactory, person
from tests.sync.wire import Wire

PASSWORD = "a kettle of 9"
POT = {"started_at": "2026-03-04T10:00:00Z", "leaf_g": 5, "vessel_ml": 110}


def phone_of(who, transport, store=None, *, page_size=2):
    store = store or MemoryStore()
    store.append({"event": "signed", "token": who.token})
    return Phone(transport, store=store, options=PhoneOptions(page_size=page_size, retry=RetryPolicy(attempts=1)))


@pytest.fixture
def wire():
    return Wire(lambda *answer: None)


@pytest.mark.django_db
def test_what_one_phone_wrote_the_other_shows(wire, taster, buyer, lexicon):
    hers, his = phone_of(taster, wire), phone_of(buyer, wire)
    lot = hers.create("lot", {"name": "Mist Ridge", "kind": "oolong"})
    session = hers.create("session", POT | {"lot": lot})
    for number in range(4):
        hers.create("infusion", {"session": session, "number": number, "steep_s": 10, "kettle_c": 99})
    hers.create("note", {"session": session, "moment": "mouth", "descriptor": "strength", "intensity": 5})
    assert hers.sync().verdicts == {"applied": 7}
    assert his.sync().pulled == 7 + 4  # with a shop and a member for each of the two
    for type_name in ("lot", "session", "infusion", "note"):
        assert his.records(type_name) == hers.records(type_name)
    assert sorted(r.fields["number"] for r in his.records("infusion")) == [0, 1, 2, 3]


@pytest.mark.django_db
def test_lost_answer_changes_nothing(wire, taster):
    phone = phone_of(taster, wire)
    lot = phone.create("lot", {"name": "Mist Ridge", "kind": "oolong"})
    wire.faults = ["answer lost"]
    with pytest.raises(UnreachableError):
        phone.sync()
    first = Lot.objects.get(id=lot).revision
    assert phone.sync().verdicts == {"unchanged": 1}
    assert phone.record(lot).revision == first


@pytest.mark.django_db
def test_notes_on_a_session_not_yet_there_wait_for_it(wire, taster, buyer):
    hers, his = phone_of(taster, wire), phone_of(buyer, wire)
    lot, session = LotFactory(team=taster.team), str(uuid4())
    his.create("infusion", {"session": session, "number": 1, "steep_s": 10, "kettle_c": 99})
    assert his.sync().outcomes[0].will_retry
    hers.create("session", POT | {"lot": str(lot.id)}, record=session)
    hers.sync()
    assert his.sync().verdicts == {"applied": 1}


@pytest.mark.django_db
def test_phone_unused_for_long_starts_again_and_loses_no_edit(wire, taster):
    here = phone_of(taster, wire)
    # one page: the deletion is forgotten a day from now, so to a second page it would be one after the first
    unused = phone_of(person(taster.team, "buyer"), wire, page_size=50)
    stored, deleted = (str(LotFactory(team=taster.team, by=taster.user).id) for _ in range(2))
    here.sync()
    unused.sync()
    unused.edit("lot", stored, {"remarks": "written offline"})
    here.delete("lot", deleted)
    here.sync()
    DeviceToken.objects.update(began_at=timezone.now() - timedelta(days=500))
    assert prune_all(now=timezone.now() + timedelta(days=401)) == 1
    DeviceToken.objects.update(began_at=timezone.now() - timedelta(days=500))
    here.create("lot", {"name": "Newer", "kind": "green"})
    assert [r.id for r in unused.records("lot")] == sorted([stored, deleted])
    report = unused.sync()
    assert (report.started_again, report.verdicts) == (True, {"applied": 1})
    assert [(r.id, r.fields["remarks"]) for r in unused.records("lot")] == [(stored, "written offline")]


@pytest.mark.django_db
def test_phone_signed_out_elsewhere_raises_and_keeps_unsent_changes(wire, taster):
    phone = phone_of(taster, wire)
    phone.create("lot", {"name": "Mist Ridge", "kind": "oolong"})
    DeviceToken.objects.all().delete()
    with pytest.raises(SignedOutError):
        phone.sync()
    assert (phone.signed_in, len(phone.unsent)) == (False, 1)


@pytest.mark.django_db(transaction=True)
def test_over_http_with_a_journal(live_server, tmp_path):
    who = person(TeamFactory(), "taster", password=PASSWORD)
    lot = LotFactory(team=who.team)
    with Phone(HttpTransport(live_server.url), store=JournalStore(tmp_path / "phone")) as phone:
        answer = phone.sign_in(username=who.user.username, password=PASSWORD)
        assert answer["team"] == str(who.team.id)
        phone.sync()
        session = phone.create("session", POT | {"lot": str(lot.id)})
    with Phone(HttpTransport(live_server.url), store=JournalStore(tmp_path / "phone")) as phone:  # switched off and on
        assert phone.sync().verdicts == {"applied": 1}
        assert str(Session.objects.get().id) == session
        assert phone.request("GET", f"/api/v1/lots/{lot.id}/")["name"] == lot.name
        phone.sign_out()
        assert not phone.signed_in
    assert eventually(lambda: not DeviceToken.objects.exclude(id=who.device.id).exists())
