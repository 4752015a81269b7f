"""Blind flights by REST: who may do what, when, and what is refused."""

from uuid import UUID, uuid4

import pytest
from django.utils import timezone

from tastings.actions.flights.planning import plan_flight
from tastings.models import FlightCup
from teams.models import Role
from tests.api.problems import refusal
from tests.factories import LotFactory, TeamFactory, person
from tests.flights import flight_of, lot_in, reveal, row, taste, taste_all

pytestmark = pytest.mark.django_db


@pytest.fixture
def flight(team, lexicon):
    return flight_of(team)


def body(team, buyer, **fields):
    lots = [LotFactory(team=team, by=buyer.user, status="sample") for _ in range(3)]
    taster = person(team, Role.TASTER)
    made = {
        "id": str(uuid4()),
        "name": "Autumn",
        "lots": [str(lot.id) for lot in lots],
        "tasters": [str(taster.user.id)],
        "cups_per_sitting": 3,
    }
    return {**made, **fields}


def test_flight_is_planned_with_three_digit_codes_each_once(flight):
    shown = flight.buyer.client.get(flight.address).json()
    codes = [cup.code for cup in FlightCup.objects.filter(flight_id=flight.id)]

    assert (shown["state"], shown["plan"]["state"], shown["progress"]["planned"]) == ("tasting", "made", 8)
    assert len(set(codes)) == 8
    assert all(100 <= code <= 999 for code in codes)
    assert {lot_in(cup) for cup in flight.cups_of(flight.tasters[0])} == {str(lot.id) for lot in flight.lots}
    assert shown["cups"] == []  # the buyer does not taste


def test_taster_sees_own_cups_only_and_without_lots(flight):
    first, second = (flight.cups_of(who) for who in flight.tasters)

    assert {cup["taster"] for cup in first} == {str(flight.tasters[0].user.id)}
    assert [cup["position"] for cup in first] == [1, 2, 3, 4]
    assert {cup["lot"] for cup in first + second} == {None}
    assert not {cup["id"] for cup in first} & {cup["id"] for cup in second}


def test_pourer_sees_what_is_in_the_cups(flight):
    plan = flight.pourer.client.get(f"{flight.address}pouring").json()

    names = {pour["code"]: pour["lot_name"] for pour in plan["pours"]}
    for cup in flight.cups_of(flight.tasters[0]):
        lot = next(lot for lot in flight.lots if str(lot.id) == lot_in(cup))
        assert names[cup["code"]] == lot.name


@pytest.mark.parametrize("role", [Role.TASTER, Role.VIEWER])
def test_only_buyers_and_owners_run_flights(team, flight, role, buyer):
    who = person(team, role)
    answers = [
        who.client.post("/api/v1/flights/", body(team, buyer)),
        who.client.patch(flight.address, {"name": "Mine"}),
        who.client.delete(flight.address),
        who.client.post(f"{flight.address}reveal", {"reason": "curious"}),
        who.client.post(f"{flight.address}decision", {"reason": "mine", "chosen": []}),
    ]
    assert [answer.status_code for answer in answers] == [403] * 5
    assert row(flight).state == "tasting"


def wrong_bodies(team, buyer):
    viewer, elsewhere = person(team, Role.VIEWER), person(TeamFactory(), Role.OWNER)
    bought = str(LotFactory(team=team, by=buyer.user, status="bought").id)
    foreign = str(LotFactory(team=elsewhere.team, by=elsewhere.user, status="sample").id)
    first = body(team, buyer)
    lots, taster = first["lots"], first["tasters"][0]
    return [
        ({"lots": [*lots, bought]}, ("lots", "not_sample")),
        ({"lots": [*lots, foreign]}, ("lots", "unknown_parent")),
        ({"lots": [*lots, str(uuid4())]}, ("lots", "unknown_parent")),
        ({"lots": [lots[0], lots[0]]}, ("lots", "taken")),
        ({"lots": lots[:1]}, ("lots", "range")),
        ({"lots": None}, ("lots", "required")),
        ({"tasters": [str(elsewhere.user.id)]}, ("tasters", "unknown_parent")),
        ({"tasters": [str(viewer.user.id)]}, ("tasters", "not_allowed")),
        ({"pourers": [taster], "tasters": [taster]}, ("pourers", "not_allowed")),
        ({"reference": lots[0], "lots": lots}, ("reference", "itself")),
        ({"reference": foreign}, ("reference", "unknown_parent")),
        ({"expected_order": [bought]}, ("expected_order", "unknown_parent")),
        ({"cups_per_sitting": 0}, ("cups_per_sitting", "range")),
        ({"cups_per_sitting": 41}, ("cups_per_sitting", "range")),
        ({"cups_per_sitting": None}, ("cups_per_sitting", "required")),
        ({"protocol": "teapot"}, ("protocol", "choice")),
        ({"infusions": 3}, ("infusions", "not_allowed")),
        ({"weights_for": "herbal"}, ("weights_for", "choice")),
        ({"weight_taste_pct": 30}, ("weight_dry_leaf_pct", "range")),
        ({"colour": "red"}, ("colour", "unknown_field")),
        ({"cups": []}, ("cups", "read_only")),
    ]


def test_what_does_not_hold_is_refused_by_field(team, buyer):
    for fields, expected in wrong_bodies(team, buyer):
        answer = buyer.client.post("/api/v1/flights/", body(team, buyer, **fields))
        status, code, problems = refusal(answer)
        assert (status, code) == (422, "invalid"), fields
        assert expected in problems, (fields, problems)


def test_weights_are_a_preset_or_five_that_make_a_hundred(team, buyer):
    own = {"dry_leaf": 10, "liquor_colour": 10, "aroma": 30, "taste": 40, "spent_leaf": 10}
    made = buyer.client.post("/api/v1/flights/", body(team, buyer, **{f"weight_{k}_pct": v for k, v in own.items()}))
    preset = buyer.client.post("/api/v1/flights/", body(team, buyer, weights_for="oolong"))

    assert {k: made.json()[f"weight_{k}_pct"] for k in own} == own
    assert (preset.status_code, preset.json()["weights_for"]) == (201, "oolong")
    assert preset.json()["weight_taste_pct"] is None


def test_same_flight_sent_again_is_answered_as_the_first_time(team, buyer):
    sent = body(team, buyer)
    first, again = (buyer.client.post("/api/v1/flights/", sent) for _ in range(2))

    assert (first.status_code, again.status_code, again.json()) == (201, 201, first.json())
    other = buyer.client.post("/api/v1/flights/", {**sent, "name": "Another"})
    assert refusal(other)[2] == {("id", "taken")}


def test_id_in_use_is_refused(flight, team, buyer):
    assert refusal(buyer.client.post("/api/v1/flights/", body(team, buyer, id=flight.id)))[2] == {("id", "taken")}


def test_who_has_poured_cannot_taste_and_who_has_tasted_cannot_pour(flight):
    taster = flight.tasters[0]
    taste(taster, flight.cups_of(taster)[0])
    everyone = [str(one.user.id) for one in flight.tasters]
    pourer = str(flight.pourer.user.id)
    swapped = flight.buyer.client.patch(flight.address, {"tasters": everyone[1:], "pourers": [everyone[0]]})
    out = flight.buyer.client.patch(flight.address, {"pourers": []})
    joined = flight.buyer.client.patch(flight.address, {"tasters": [*everyone, pourer]})

    assert refusal(swapped)[2] == {("pourers", "not_allowed")}
    assert out.status_code == 200
    assert refusal(joined)[2] == {("tasters", "not_allowed")}


def test_new_plan_keeps_what_was_tasted(flight):
    taster, ill = flight.tasters
    first = flight.cups_of(taster)[0]
    taste(taster, first, liking=7)
    spilled = next(str(lot.id) for lot in flight.lots if str(lot.id) != lot_in(first))
    left = [str(lot.id) for lot in flight.lots if str(lot.id) != spilled]
    old_codes = {cup.code for cup in FlightCup.objects.filter(flight_id=flight.id)}
    answer = flight.buyer.client.patch(flight.address, {"lots": left, "tasters": [str(taster.user.id)]})
    assert answer.json()["plan"]["state"] == "making"
    plan_flight(UUID(flight.id), now=timezone.now())
    cups = flight.cups_of(taster)

    assert cups[0] == {**first, "tasted": True}
    assert {lot_in(cup) for cup in cups} == set(left)
    assert flight.cups_of(ill) == []
    assert not old_codes & {cup["code"] for cup in cups[1:]}  # a code never means two cups
    assert FlightCup.objects.filter(flight_id=flight.id).count() == 8 + len(cups) - 1


def test_who_has_tasted_changes_no_samples_and_a_tasted_one_does_not_come_back(team):
    """A tasted cup stays when its sample is taken out: by the number of cups its sample could be found."""
    flight = flight_of(team, n_lots=4, n_tasters=1)
    [taster], everything = flight.tasters, [str(lot.id) for lot in flight.lots]
    joined = flight.buyer.client.patch(
        flight.address, {"tasters": [str(one.user.id) for one in (taster, flight.buyer)]}
    )
    plan_flight(UUID(flight.id), now=timezone.now())
    cup = flight.cups_of(flight.buyer)[0]
    others = [lot for lot in everything if lot != lot_in(cup)]
    other_buyer = person(team, "buyer")
    before_tasting = [flight.buyer.client.patch(flight.address, {"lots": lots}) for lots in (others, everything)]
    plan_flight(UUID(flight.id), now=timezone.now())
    cup = flight.cups_of(flight.buyer)[0]
    others = [lot for lot in everything if lot != lot_in(cup)]
    taste(flight.buyer, cup)

    assert [one.status_code for one in (joined, *before_tasting)] == [200] * 3
    renamed = flight.buyer.client.patch(flight.address, {"name": "Renamed", "lots": everything[::-1]})
    assert renamed.status_code == 200  # the same samples
    for lots in (others, everything[1:]):
        probed = flight.buyer.client.patch(flight.address, {"lots": lots})
        assert refusal(probed) == (422, "invalid", {("lots", "not_allowed")})
    assert other_buyer.client.patch(flight.address, {"lots": others}).status_code == 200
    back = other_buyer.client.patch(flight.address, {"lots": everything})
    assert refusal(back) == (422, "invalid", {("lots", "not_allowed")})


def test_cups_stay_when_a_new_plan_finds_no_codes_for_its_own(flight):
    taster = flight.tasters[0]
    before = flight.cups_of(taster)
    some = FlightCup.objects.filter(flight_id=flight.id).first()
    free = sorted(set(range(100, 1000)) - set(FlightCup.objects.values_list("code", flat=True)))
    cup = {"team": some.team, "flight": some.flight, "taster": some.taster, "lot": some.lot, "sitting": 9}
    gone = timezone.now()  # earlier plans have used all codes but two
    FlightCup.objects.bulk_create(
        FlightCup(position=n, code=code, out_at=gone, **cup) for n, code in enumerate(free[2:])
    )
    flight.buyer.client.patch(flight.address, {"lots": [str(lot.id) for lot in flight.lots[1:]]})
    assert not plan_flight(UUID(flight.id), now=timezone.now())

    assert flight.cups_of(taster) == before
    plan = flight.buyer.client.get(flight.address).json()["plan"]
    assert (plan["state"], "three-digit codes" in plan["failure"]) == ("failed", True)


def test_cup_that_was_planned_away_is_still_taken_in(flight):
    taster, _ = flight.tasters
    gone = flight.cups_of(taster)[3]
    flight.buyer.client.patch(flight.address, {"cups_per_sitting": 3})
    plan_flight(UUID(flight.id), now=timezone.now())
    assert gone["id"] not in {cup["id"] for cup in flight.cups_of(taster)}

    taste(taster, gone, liking=4)  # from a phone that was offline


def test_reveal_needs_a_reason_while_cups_are_not_tasted(flight):
    early = flight.buyer.client.post(f"{flight.address}reveal", {})
    assert refusal(early) == (422, "invalid", {("reason", "required")})
    shown = reveal(flight, reason="the ship sails tomorrow")

    assert (shown["state"], shown["reveal_reason"]) == ("revealed", "the ship sails tomorrow")
    assert {cup["lot"] for cup in shown["cups"]} == {str(lot.id) for lot in flight.lots}


def test_reveal_of_a_flight_tasted_in_full_needs_no_reason_and_happens_once(flight):
    taste_all(flight)
    shown = reveal(flight)
    again = flight.buyer.client.post(f"{flight.address}reveal", {})

    assert shown["reveal_reason"] is None
    assert refusal(again)[:2] == (409, "wrong-state")
    assert refusal(flight.buyer.client.patch(flight.address, {"name": "Other"}))[:2] == (409, "wrong-state")


def test_flight_is_called_off_only_before_anything_is_tasted(flight, team, lexicon):
    other = flight_of(team)
    taste(other.tasters[0], other.cups_of(other.tasters[0])[0])

    assert flight.buyer.client.delete(flight.address).status_code == 204
    assert flight.buyer.client.get(flight.address).json()["state"] == "called_off"
    assert refusal(other.buyer.client.delete(other.address))[:2] == (409, "wrong-state")


def test_progress_is_told_by_shop_and_taster(flight):
    first, second = flight.tasters
    for cup in flight.cups_of(first)[:3]:
        taste(first, cup)
    progress = flight.buyer.client.get(flight.address).json()["progress"]

    assert (progress["planned"], progress["tasted"]) == (8, 3)
    assert {one["taster"]: one["tasted"] for one in progress["tasters"]} == {
        str(first.user.id): 3,
        str(second.user.id): 0,
    }
    assert {one["shop"]: one["tasted"] for one in progress["shops"]} == {
        str(first.member.shop_id): 3,
        str(second.member.shop_id): 0,
    }


def test_expected_order_is_not_shown_to_tasters_before_the_reveal(team, lexicon):
    flight = flight_of(team)
    order = [str(lot.id) for lot in flight.lots]
    flight.buyer.client.patch(flight.address, {"expected_order": order})

    assert flight.buyer.client.get(flight.address).json()["expected_order"] == order
    assert flight.tasters[0].client.get(flight.address).json()["expected_order"] == []


def test_decision_turns_samples_into_bought_lots(flight):
    taste_all(flight)
    early = flight.buyer.client.post(f"{flight.address}decision", {"reason": "best", "chosen": []})
    reveal(flight)
    sample, bought = str(flight.lots[2].id), str(uuid4())
    chosen = {"lot": sample, "bought": bought, "quantity_g": 5000, "price_per_kg": 88.5, "currency": "EUR"}
    made = flight.buyer.client.post(f"{flight.address}decision", {"reason": "the finish", "chosen": [chosen]})
    lot = flight.buyer.client.get(f"/api/v1/lots/{bought}/").json()
    again = flight.buyer.client.post(f"{flight.address}decision", {"reason": "no", "chosen": []})

    assert refusal(early)[:2] == (409, "wrong-state")
    assert (made.status_code, made.json()["state"], made.json()["decision"]["reason"]) == (201, "decided", "the finish")
    assert (lot["status"], lot["from_lot"], lot["name"]) == ("bought", sample, "Sample 2")
    assert (lot["quantity_g"], lot["price_per_kg"], lot["currency"]) == (5000, 88.5, "EUR")
    assert refusal(again)[:2] == (409, "wrong-state")


def test_decision_names_what_is_wrong_and_makes_nothing(flight, team, buyer):
    taste_all(flight)
    reveal(flight)
    other = str(LotFactory(team=team, by=buyer.user, status="sample").id)
    mine = str(flight.lots[0].id)
    wrong = [
        ({"reason": "", "chosen": []}, ("reason", "required")),
        ({"reason": "x", "chosen": {}}, ("chosen", "type")),
        ({"reason": "x", "chosen": [{"lot": other, "bought": str(uuid4())}]}, ("chosen.0.lot", "unknown_parent")),
        ({"reason": "x", "chosen": [{"lot": mine, "bought": mine}]}, ("chosen.0.bought", "taken")),
        ({"reason": "x", "chosen": [{"lot": mine}]}, ("chosen.0.bought", "required")),
        ({"reason": "x", "chosen": [{"lot": mine, "bought": str(uuid4()), "quantity_g": -1}]},
         ("chosen.0.quantity_g", "range")),
        ({"reason": "x", "chosen": [{"lot": mine, "bought": str(uuid4())}] * 2}, ("chosen", "taken")),
        ({"reason": "x", "chosen": [], "mood": "good"}, ("mood", "unknown_field")),
    ]  # fmt: skip
    n_lots = len(flight.buyer.client.get("/api/v1/lots/").json()["results"])
    for sent, expected in wrong:
        status, code, problems = refusal(flight.buyer.client.post(f"{flight.address}decision", sent))
        assert (status, code) == (422, "invalid")
        assert expected in problems, (sent, problems)
    assert row(flight).state == "revealed"
    assert len(flight.buyer.client.get("/api/v1/lots/").json()["results"]) == n_lots


def test_reveal_and_decision_stand_in_the_audit_log(flight, owner):
    reveal(flight, reason="the ship sails tomorrow")
    flight.buyer.client.post(f"{flight.address}decision", {"reason": "none is good enough", "chosen": []})
    log = owner.client.get("/api/v1/audit").json()["results"]

    assert [(one["what"], one["who"], one["about"]["flight"]) for one in log if "flight" in one["about"]] == [
        ("decision", str(flight.buyer.user.id), flight.id),
        ("reveal", str(flight.buyer.user.id), flight.id),
        ("pourers_change", str(flight.buyer.user.id), flight.id),
    ]
