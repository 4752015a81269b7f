"""Shops, members, flights and photos arrive by the cursor: whatever changes, and nothing that REST does not show."""

from uuid import uuid4

import pytest
from django.utils import timezone

from lots.models import Lot
from tastings.actions.flights.planning import plan_flight
from tastings.actions.pruning import RETENTION, prune
from tastings.models import Photo
from teams.models import DeviceToken, Member, Role, Team
from tests.api.phone import change, post_sync, pulled_records, sync
from tests.api.records import Place
from tests.api.test_tenancy import stored_photo
from tests.factories import LotFactory, SessionFactory, ShopFactory, person
from tests.flights import flight_of, reveal, row, taste

pytestmark = pytest.mark.django_db
LATER = "2026-03-04T13:00:00Z"


class Follower:
    """Someone who pulls what is new each time."""

    def __init__(self, who):
        self.who, self.cursor = who, sync(who.client)["cursor"]

    def news(self):
        """Return what has come since, without records, by id: fields, or None of a deletion."""
        answer = sync(self.who.client, cursor=self.cursor)
        self.cursor = answer["cursor"]
        news = [one for one in answer["changes"] if one not in pulled_records(answer["changes"])]
        assert all(bool(one["fields"]) != one["deleted"] for one in news)
        return {one["id"]: None if one["deleted"] else one["fields"] for one in news}


def stand(who, type_name):
    """Return all of a type that a fresh phone has."""
    changes = sync(who.client)["changes"]
    return {one["id"]: one["fields"] for one in changes if one["type"] == type_name and not one["deleted"]}


def test_members_and_shops_come_and_go(owner, taster):
    buyer, new = person(owner.team, Role.BUYER), ShopFactory(team=owner.team, name="Harbour Street")
    phone = Follower(taster)
    assert stand(taster, "member").keys() == {str(one.user.id) for one in (owner, taster, buyer)}
    owner.client.patch(f"/api/v1/members/{buyer.user.id}/", {"role": "taster", "shop": str(new.id)})
    owner.client.patch(f"/api/v1/shops/{new.id}/", {"name": "Harbour Lane"})

    arrived = phone.news()
    member, shop = arrived[str(buyer.user.id)], arrived[str(new.id)]
    assert (member["role"], member["shop"], member["username"]) == ("taster", str(new.id), buyer.user.username)
    assert shop == {"name": "Harbour Lane", "usual_pot": None}
    owner.client.delete(f"/api/v1/members/{buyer.user.id}/")
    assert phone.news() == {str(buyer.user.id): None}
    assert str(buyer.user.id) not in stand(taster, "member")
    Member.objects.get(team=owner.team, user=buyer.user).save()
    DeviceToken.objects.update(device="another")
    assert phone.news() == {}  # nothing that a phone is arrived of


def test_a_blind_flight_shows_each_taster_their_own_codes_until_the_reveal(team, lexicon):
    flight = flight_of(team, n_lots=3, n_tasters=2)
    first, second = flight.tasters
    phones = [Follower(who) for who in (first, second, flight.buyer)]
    taste(first, flight.cups_of(first)[0], liking=6)
    for who in (first, second, flight.buyer, flight.pourer):
        served = who.client.get(flight.address).json()
        arrived = stand(who, "flight")[flight.id]
        assert [cup["id"] for cup in arrived["cups"]] == [cup["id"] for cup in served["cups"]]
        assert {name: served[name] for name in arrived.keys() - {"cups"}} == {
            n: v for n, v in arrived.items() if n != "cups"
        }
        assert [
            {**cup, "tasted": mine["tasted"]} for cup, mine in zip(arrived["cups"], served["cups"], strict=True)
        ] == (served["cups"])
        assert {(cup["taster"], cup["lot"]) for cup in arrived["cups"]} <= {(str(who.user.id), None)}
    assert [cup["position"] for cup in stand(first, "flight")[flight.id]["cups"]] == [1, 2, 3]

    reveal(flight, reason="time is up")
    for phone in phones:
        arrived = phone.news()[flight.id]
        assert (arrived["state"], len(arrived["cups"])) == ("revealed", 6)
        assert {cup["lot"] for cup in arrived["cups"]} == {str(lot.id) for lot in flight.lots}


def test_a_change_of_tasters_a_spilled_sample_and_the_decision_arrive(team, lexicon):
    flight = flight_of(team, n_lots=4, n_tasters=2)
    ill, well = flight.tasters
    watching, tasting = Follower(ill), Follower(well)
    before = stand(well, "flight")[flight.id]["cups"]
    newcomer = person(team, Role.TASTER)
    fields = {
        "tasters": [str(one.user.id) for one in (well, newcomer)],
        "lots": [str(one.id) for one in flight.lots[1:]],
        "cups_per_sitting": 3,
    }
    assert flight.buyer.client.patch(flight.address, fields).status_code == 200
    assert str(flight.lots[0].id) not in watching.news()[flight.id]["lots"]
    assert plan_flight(row(flight).id, now=timezone.now())

    assert watching.news()[flight.id]["cups"] == []
    assert {cup["id"] for cup in tasting.news()[flight.id]["cups"]}.isdisjoint(cup["id"] for cup in before)
    pourers = [str(person(team, Role.TASTER).user.id)]
    assert flight.buyer.client.patch(flight.address, {"pourers": pourers}).status_code == 200
    assert tasting.news()[flight.id]["pourers"] == pourers
    reveal(flight, reason="time is up")
    flight.buyer.client.post(f"{flight.address}decision", {"reason": "none convinced", "chosen": []})
    assert tasting.news()[flight.id]["state"] == "decided"


def test_photos_arrive_with_the_address_of_their_bytes_and_go_with_what_they_are_of(taster, buyer):
    place, phone = Place(taster), Follower(buyer)
    sent = {"id": str(uuid4()), "session": str(place.session.id), "of": "liquor", "sha256": "d" * 64, "bytes": 9}
    assert taster.client.post("/api/v1/photos/", sent).status_code == 201
    arrived = phone.news()[sent["id"]]
    assert (arrived["state"], arrived["image"], arrived["session"]) == ("waiting", None, sent["session"])
    photo = stored_photo(place, taster)
    arrived = phone.news()[str(photo.id)]
    assert (arrived["state"], arrived["width"], arrived["by"]) == ("kept", 4, str(taster.user.id))
    assert arrived["thumbnail"] == f"/api/v1/photos/{photo.id}/thumbnail"
    assert buyer.client.get(arrived["thumbnail"]).status_code == 404  # the route is there, this picture's file is not

    for gone, back in (
        (("session", {"deleted": True}), {"remarks": "back"}),
        (("lot", {"deleted": True}), {"remarks": "b"}),
    ):
        type_name, fields = gone
        record = getattr(place, type_name).id
        of_it = {"session": {"session": place.session}, "lot": {"session": None, "lot": place.lot}}[type_name]
        Photo.objects.filter(id=photo.id).update(**of_it)
        phone.news()
        sync(buyer.client, [change(type_name, record, at=LATER, **fields)])
        assert phone.news()[str(photo.id)] is None
        sync(buyer.client, [change(type_name, record, at="2026-03-04T14:00:00Z", **back)])
        assert phone.news()[str(photo.id)]["state"] == "kept"
    buyer.client.delete(f"/api/v1/photos/{photo.id}/")
    assert phone.news() == {str(photo.id): None}
    assert str(photo.id) not in stand(taster, "photo")


def test_a_taster_who_deletes_a_sample_takes_the_photos_of_others_along(taster, buyer):
    lot = LotFactory(team=taster.team, by=taster.user, status="sample")
    sent = {"id": str(uuid4()), "lot": str(lot.id), "of": "dry_leaf", "sha256": "d" * 64, "bytes": 9}
    assert buyer.client.post("/api/v1/photos/", sent).status_code == 201
    phone = Follower(buyer)
    sync(taster.client, [change("lot", lot.id, at=LATER, deleted=True)])
    assert Lot.objects.get(id=lot.id).removed
    assert phone.news() == {sent["id"]: None}


def test_photos_of_a_private_session_reach_nobody_else(taster, buyer):
    private = SessionFactory(lot__team=taster.team, by=taster.user, private=True)
    place = Place(taster)
    place.session = private
    never, phone = stored_photo(place, taster), Follower(buyer)
    assert str(never.id) not in {one["id"] for one in sync(buyer.client)["changes"]}
    assert str(never.id) in stand(taster, "photo")

    sync(taster.client, [change("session", private.id, at=LATER, private=False)])
    assert phone.news()[str(never.id)]["state"] == "kept"
    sync(taster.client, [change("session", private.id, at="2026-03-04T14:00:00Z", private=True)])
    assert phone.news() == {str(never.id): None}


def test_photos_of_a_blind_session_arrive_at_the_reveal(team, lexicon):
    flight = flight_of(team)
    first, second = flight.tasters
    ids = taste(first, flight.cups_of(first)[0], liking=6)
    sent = {"id": str(uuid4()), "session": ids.session, "of": "liquor", "sha256": "d" * 64, "bytes": 9}
    assert first.client.post("/api/v1/photos/", sent).status_code == 201
    phone = Follower(second)
    assert sent["id"] not in {one["id"] for one in sync(second.client)["changes"]}

    reveal(flight, reason="time is up")
    assert phone.news()[sent["id"]]["state"] == "waiting"


def test_a_phone_that_missed_the_end_of_a_photo_starts_again(taster):
    place = Place(taster)
    stored_photo(place, taster)
    records = (place.note, place.infusion, place.session)
    sync(taster.client, [change(one.schema.type, one.id, at=LATER, deleted=True) for one in records])
    before_the_photo = sync(taster.client)["cursor"] - 1
    for one in records:
        type(one).objects.filter(id=one.id).update(updated_at=timezone.now() - RETENTION * 2)
    DeviceToken.objects.update(began_at=timezone.now() - RETENTION * 3)
    prune(taster.team.id, now=timezone.now())

    assert not Photo.objects.exists()
    assert post_sync(taster.client, changes=[], cursor=before_the_photo).status_code == 410


def test_nothing_of_another_team_arrives_and_every_revision_is_there_once(taster, stranger, lexicon):
    theirs = Place(stranger)
    stored_photo(theirs, stranger)
    flight_of(stranger.team)
    mine = flight_of(taster.team)
    stored_photo(Place(taster), taster)

    changes = sync(taster.client)["changes"]
    assert [one["id"] for one in changes if one["type"] == "flight"] == [mine.id]
    assert len({one["id"] for one in changes if one["type"] == "member"}) == 1 + 4
    revisions = [one["revision"] for one in changes]
    assert revisions == sorted(set(revisions))
    assert revisions[-1] <= Team.objects.get(id=taster.team.id).revision
