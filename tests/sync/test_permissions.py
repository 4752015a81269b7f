"""Who may change what, by sync: each change is judged alone, and what was accepted before stays accepted."""

from uuid import uuid4

import pytest

from lots.models import FieldHistory, Lot
from tastings.models import Infusion, Note
from teams.models import AuditEntry, Member, Team
from teams.row_security import ids_in_use
from tests.api.phone import change, sync
from tests.api.records import Place
from tests.factories import DescriptorFactory, InfusionFactory, LotFactory, SessionFactory, person

pytestmark = pytest.mark.django_db
LATER = "2026-03-04T13:00:00Z"


@pytest.fixture
def colleague(team):
    """Another taster."""
    return person(team, "taster")


@pytest.fixture
def place(taster):
    return Place(taster)


def judged(who, *changes):
    """Push changes; return the verdict on each, of refused ones field and code."""
    verdicts = sync(who.client, list(changes))["verdicts"]
    return [
        one["verdict"] if one["verdict"] != "refused" else [(p["field"], p["code"]) for p in one["problems"]]
        for one in verdicts
    ]


def tasted(place):
    """Return changes of each record of the place's session, and new ones in it."""
    session = {"session": str(place.session.id)}
    new_note = {**session, "moment": "mouth", "descriptor": place.descriptor.key}
    return [
        change("session", place.session.id, at=LATER, leaf_g=6),
        change("infusion", place.infusion.id, at=LATER, steep_s=20),
        change("note", place.note.id, at=LATER, intensity=9),
        change("infusion", at=LATER, **session, number=5, steep_s=10, kettle_c=99),
        change("note", at=LATER, **new_note),
        change("note", place.note.id, at="2026-03-04T14:00:00Z", deleted=True),
        change("session", place.session.id, at="2026-03-04T14:00:00Z", deleted=True),
    ]


def test_a_taster_changes_nothing_of_anothers_tasting(colleague, place):
    refused = judged(colleague, *tasted(place))
    assert refused == [[("id", "not_yours")], *[[("session", "not_yours")]] * 5, [("id", "not_yours")]]
    assert (Infusion.objects.count(), Note.objects.count(), FieldHistory.objects.count()) == (1, 1, 0)
    place.session.refresh_from_db()
    assert (place.session.leaf_g, place.session.removed) == (5, False)


@pytest.mark.parametrize("role", ["owner", "buyer"])
def test_corrections_by_owner_and_buyer_are_in_the_audit_log(request, place, taster, role):
    who = request.getfixturevalue(role)
    assert set(judged(who, *tasted(place))) == {"applied"}
    entries = [
        (one.who_id, one.about["type"], one.about["session"], one.about["taster"], one.about["fields"])
        for one in AuditEntry.objects.filter(what="correction")
    ]
    of = (str(place.session.id), str(taster.user.id))
    assert sorted(entries) == sorted([
        (who.user.id, "session", *of, ["deleted", "leaf_g"]),
        (who.user.id, "infusion", *of, ["steep_s"]),
        (who.user.id, "note", *of, ["deleted", "intensity"]),
        (who.user.id, "infusion", *of, ["kettle_c", "number", "session", "steep_s"]),
        (who.user.id, "note", *of, ["descriptor", "moment", "session"]),
    ])  # fmt: skip


def test_what_is_done_to_lots_is_in_the_audit_log_with_the_values_before_and_after(buyer):
    lot, bought = uuid4(), uuid4()
    of = {"name": "Mist Ridge", "kind": "oolong"}
    pushed = [
        change("lot", lot, **of, status="sample", remarks="from the fair"),
        change("lot", lot, at=LATER, price_per_kg=44, currency="EUR", remarks="dearer"),
        change("lot", lot, at="2026-03-04T13:01:00Z", name="Mist Ridge I"),
        change("lot", lot, at="2026-03-04T13:02:00Z", name="Mist Ridge I"),
        change("lot", bought, **of, status="bought", from_lot=str(lot), quantity_g=500),
        change("lot", lot, at="2026-03-04T13:03:00Z", status="retired"),
        change("lot", lot, at="2026-03-04T13:04:00Z", deleted=True),
        change("lot", lot, at="2026-03-04T13:05:00Z", name="Mist Ridge"),
    ]
    for one in pushed:
        assert judged(buyer, one) in (["applied"], ["unchanged"])
    judged(buyer, pushed[0])  # sent again
    entries = AuditEntry.objects.filter(what__startswith="lot_")
    assert {one.who_id for one in entries} == {buyer.user.id}
    found = {one.what: (one.about["lot"], one.about["changes"]) for one in entries}
    assert len(entries) == len(found)
    assert found == {
        "lot_made": (str(lot), {"status": [None, "sample"]}),
        "lot_priced": (str(lot), {"price_per_kg": [None, 44], "currency": [None, "EUR"], "remarks": []}),
        "lot_edited": (str(lot), {"name": ["Mist Ridge", "Mist Ridge I"]}),
        "lot_bought": (
            str(bought), {"status": [None, "bought"], "from_lot": [None, str(lot)], "quantity_g": [None, 500]}
        ),
        "lot_retired": (str(lot), {"status": ["sample", "retired"]}),
        "lot_deleted": (str(lot), {}),
        "lot_restored": (str(lot), {"name": ["Mist Ridge I", "Mist Ridge"]}),
    }  # fmt: skip


def test_ones_own_tasting_is_in_no_audit_log(taster, place, buyer):
    assert set(judged(taster, *tasted(place))) == {"applied"}
    assert set(judged(buyer, *tasted(Place(buyer)))) == {"applied"}
    assert not AuditEntry.objects.exists()


def test_the_rest_of_a_push_stands(colleague, place):
    """As of an offline morning that holds one edit of another's note."""
    session, infusion = uuid4(), uuid4()
    sent = [
        change("session", session, lot=str(place.lot.id), started_at=LATER, leaf_g=5, vessel_ml=110),
        change("note", place.note.id, at=LATER, intensity=9),
        change("infusion", infusion, session=str(session), number=1, steep_s=10, kettle_c=99),
    ]
    assert judged(colleague, *sent) == ["applied", [("session", "not_yours")], "applied"]


def test_a_taster_makes_samples_and_sets_nothing_of_a_purchase(taster):
    new = {"name": "Mist Ridge", "kind": "oolong"}
    purchase = {
        "status": "bought",
        "price_per_kg": 90,
        "currency": "EUR",
        "quantity_g": 500,
        "arrived_on": "2026-03-01",
    }
    sample = uuid4()
    assert judged(taster, change("lot", sample, **new, status="sample", price_per_kg=None)) == ["applied"]
    for name, value in {**purchase, "from_lot": str(sample)}.items():
        assert judged(taster, change("lot", **new, **{name: value})) == [[(name, "not_yours")]]
        assert judged(taster, change("lot", sample, at=LATER, **{name: value})) == [[(name, "not_yours")]]
    assert judged(taster, change("lot", sample, at=LATER, name="Mist Ridge 2", status="sample")) == ["applied"]
    assert Lot.objects.get(id=sample).name == "Mist Ridge 2"


def test_a_taster_edits_their_lot_until_it_is_bought(taster, buyer, colleague):
    lot = uuid4()
    assert judged(taster, change("lot", lot, name="Mist Ridge", kind="oolong", status="sample")) == ["applied"]
    assert judged(colleague, change("lot", lot, at=LATER, remarks="round")) == [[("id", "not_yours")]]
    assert judged(buyer, change("lot", lot, at=LATER, status="bought", price_per_kg=90)) == ["applied"]
    for edit in ({"remarks": "round"}, {"deleted": True}):
        assert judged(taster, change("lot", lot, at="2026-03-04T14:00:00Z", **edit)) == [[("status", "not_yours")]]


def test_a_status_that_a_taster_repeats_does_not_outlast_a_buyers_earlier_edit(taster, buyer):
    lot = uuid4()
    new = {"name": "Mist Ridge", "kind": "oolong", "status": "sample"}
    judged(taster, change("lot", lot, **new))
    judged(taster, change("lot", lot, at="2026-03-04T14:00:00Z", **new))
    assert judged(buyer, change("lot", lot, at=LATER, status="bought")) == ["applied"]
    assert Lot.objects.get(id=lot).status == "bought"


def test_a_status_that_a_taster_repeated_does_not_come_back_when_they_are_a_buyer(taster, buyer):
    """The network delivers the taster's edit once more."""
    lot = uuid4()
    judged(taster, change("lot", lot, name="Mist Ridge", kind="oolong", status="sample"))
    sent = {**change("lot", lot, at="2026-03-04T14:00:00Z", status="sample", remarks="round"), "seq": 2}
    judged(taster, sent)
    judged(buyer, change("lot", lot, at=LATER, status="bought"))
    Member.objects.filter(id=taster.member.id).update(role="buyer")
    assert judged(taster, sent) == ["unchanged"]
    assert Lot.objects.get(id=lot).status == "bought"


def test_what_was_accepted_is_unchanged_when_it_is_sent_again(taster, buyer):
    """The answer was lost; a buyer has bought the lot since, so that the taster could not make it any more."""
    lot = uuid4()
    sent = change("lot", lot, name="Mist Ridge", kind="oolong", status="sample")
    assert judged(taster, sent) == ["applied"]
    judged(buyer, change("lot", lot, at=LATER, status="bought", name="Ridge"))
    assert judged(taster, sent) == ["unchanged"]
    assert judged(taster, change("lot", lot, at="2026-03-04T12:30:00Z", name="Old")) == [[("status", "not_yours")]]


@pytest.mark.parametrize("role", ["taster", "viewer"])
def test_what_was_accepted_stays_accepted_after_its_sender_lost_the_role(buyer, place, role):
    """The answers were lost; what the buyer had not sent before is judged by the new role."""
    lot = change("lot", name="Mist Ridge", kind="oolong", status="bought", quantity_g=500)
    sent = [*tasted(place), lot, change("lot", lot["id"], at=LATER, price_per_kg=90, currency="EUR")]
    assert set(judged(buyer, *sent)) == {"applied"}
    Member.objects.filter(id=buyer.member.id).update(role=role)
    before = Team.objects.get(id=buyer.team.id).revision
    assert set(judged(buyer, *sent)) == {"unchanged"}
    new = judged(buyer, change("note", place.note.id, at="2026-03-04T15:00:00Z", deleted=True))
    assert new == [[("session", "not_yours")] if role == "taster" else [("", "not_allowed")]]
    assert Team.objects.get(id=buyer.team.id).revision == before


def test_an_edit_that_lost_is_unchanged_when_it_is_sent_again_after_its_sender_lost_the_role(buyer):
    lot = change("lot", name="Mist Ridge", kind="oolong")
    late = {**change("lot", lot["id"], at="2026-03-04T12:30:00Z", remarks="late"), "seq": 1}
    judged(buyer, lot, {**change("lot", lot["id"], at=LATER, remarks="newer"), "seq": 2})
    assert judged(buyer, late) == ["merged"]
    Member.objects.filter(id=buyer.member.id).update(role="viewer")
    assert judged(buyer, late) == ["unchanged"]
    assert judged(buyer, {**late, "fields": {"remarks": "other"}}) == [[("", "not_allowed")]]


def test_words_are_changed_by_who_made_them_and_by_buyers(taster, colleague, buyer, team):
    word = DescriptorFactory(team=team, by=taster.user)
    assert judged(colleague, change("descriptor", word.id, at=LATER, label="slate")) == [[("id", "not_yours")]]
    assert judged(taster, change("descriptor", word.id, at=LATER, label="slate")) == ["applied"]
    assert judged(buyer, change("descriptor", word.id, at="2026-03-04T14:00:00Z", deleted=True)) == ["applied"]


def test_anothers_private_session_gives_nothing_away(colleague, taster):
    """Refused as absent, not as another's."""
    place = Place(taster, private=True)
    refused = judged(colleague, *tasted(place)[:4])
    assert {code for problems in refused for _, code in problems} & {"not_yours"} == set()


def test_rest_refuses_with_403_and_the_field(colleague, place):
    answer = colleague.client.patch(f"/api/v1/notes/{place.note.id}/", {"intensity": 9})
    assert (answer.status_code, answer.json()["type"]) == (403, "/problems/not-allowed")
    assert [(p["field"], p["code"]) for p in answer.json()["problems"]] == [("session", "not_yours")]
    lot = LotFactory(team=place.lot.team, by=colleague.user, status="sample")
    answer = colleague.client.patch(f"/api/v1/lots/{lot.id}/", {"price_per_kg": 80})
    assert [(p["field"], p["code"]) for p in answer.json()["problems"]] == [("price_per_kg", "not_yours")]


def test_id_in_use_is_readable_by_its_own_team_and_by_who_sees_its_session(taster, buyer, stranger):
    shared, private = (SessionFactory(lot__team=taster.team, by=buyer.user, private=hidden) for hidden in (False, True))
    ids = [
        shared.lot.id,
        shared.id,
        private.id,
        InfusionFactory(session=shared).id,
        InfusionFactory(session=private).id,
    ]

    def readable(team, member):
        found = ids_in_use(ids, team=team, member=member)
        return [next(iter(found[one].values())) for one in ids]

    assert readable(taster.team.id, taster.user.id) == [True, True, False, True, False]
    assert readable(taster.team.id, buyer.user.id) == readable(taster.team.id, None) == [True] * 5
    assert readable(stranger.team.id, stranger.user.id) == readable(None, None) == [False] * 5
    assert ids_in_use([uuid4()], team=taster.team.id) == {}
