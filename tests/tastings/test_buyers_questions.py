"""Readiness, arrival check and comparison through the API; what they say is checked in tests/maths."""

from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.utils import timezone

from tests.api.phone import change, sync
from tests.factories import LotFactory

pytestmark = pytest.mark.django_db


def tasted(who, lot, *, days_ago=0, roast=5.0, strength=(5, 6, 6, 5, 4, 3), **session):
    """Sync one session with strength and roast of each infusion."""
    made, started = uuid4(), timezone.now() - timedelta(days=days_ago)
    fields = {"lot": str(lot.id), "started_at": started.isoformat(), "leaf_g": 5, "vessel_ml": 110, "warmed": True}
    changes = [change("session", made, **fields, **session)]
    for number, rating in enumerate(strength, start=1):
        pour = uuid4()
        changes.append(change("infusion", pour, session=str(made), number=number, steep_s=18, pour_s=4, kettle_c=100))
        changes += [
            change("note", session=str(made), infusion=str(pour), moment="mouth", descriptor=key, intensity=value)
            for key, value in {"strength": rating, "roast": round(roast * rating / 6, 1), "liking": 6}.items()
        ]
    answer = sync(who.client, changes, device=uuid4())
    assert {v["verdict"] for v in answer["verdicts"]} == {"applied"}


def test_a_roast_that_has_faded_is_ready_and_one_not_rated_twice_cannot_be_told(taster, buyer, lexicon):
    roasted = timezone.now().date() - timedelta(days=120)
    lot = LotFactory(team=taster.team, roasted_on=roasted)
    address = f"/api/v1/lots/{lot.id}/readiness"
    tasted(taster, lot, days_ago=110, roast=8)
    assert taster.client.get(address).json()["verdict"] == "cannot_tell"
    for days_ago, roast in ((80, 6), (50, 3.5), (20, 1.5), (2, 0.8)):
        tasted(taster, lot, days_ago=days_ago, roast=roast)
        tasted(buyer, lot, days_ago=days_ago, roast=roast)
    found = taster.client.get(address).json()
    assert (found["verdict"], found["level"], found["roasted_on"]) == ("ready", 3.0, roasted.isoformat())
    assert found["probability"] > 0.8
    assert found["expected"]["low"] <= found["expected"]["date"] <= found["expected"]["high"]
    strict = taster.client.get(address, {"level": "0.1"}).json()
    assert (strict["level"], strict["probability"] < found["probability"]) == (0.1, True)


def test_readiness_of_a_lot_without_a_roasting_date_cannot_be_told(taster):
    lot = LotFactory(team=taster.team)
    found = taster.client.get(f"/api/v1/lots/{lot.id}/readiness").json()
    assert (found["verdict"], found["roasted_on"]) == ("cannot_tell", None)


@pytest.mark.parametrize("level", ["-1", "11", "nan", "much"])
def test_a_level_off_the_scale_is_refused(taster, level):
    lot = LotFactory(team=taster.team)
    refused = taster.client.get(f"/api/v1/lots/{lot.id}/readiness", {"level": level})
    assert (refused.status_code, [p["field"] for p in refused.json()["problems"]]) == (422, ["level"])


def test_the_owner_chooses_the_teams_level(owner, taster):
    assert owner.client.patch("/api/v1/team", {"ready_roast": 4.5}).json()["ready_roast"] == 4.5
    lot = LotFactory(team=taster.team, roasted_on=date(2026, 1, 1))
    assert taster.client.get(f"/api/v1/lots/{lot.id}/readiness").json()["level"] == 4.5
    assert taster.client.patch("/api/v1/team", {"ready_roast": 2}).status_code == 403
    for body in ({"ready_roast": 11}, {"ready_roast": True}, {"name": ""}, {"role": "x"}):
        assert owner.client.patch("/api/v1/team", body).status_code == 422
    assert owner.client.get("/api/v1/team").json()["ready_roast"] == 4.5


def test_an_arrived_lot_is_compared_with_its_sample_and_their_triangle_tests_are_shown(taster, buyer, lexicon):
    sample = LotFactory(team=taster.team, status="sample")
    arrived = LotFactory(team=taster.team, from_lot=sample)
    address = f"/api/v1/lots/{arrived.id}/arrival-check"
    assert taster.client.get(address).json()["verdict"] == "cannot_tell"
    for who in (taster, buyer):
        for _ in range(2):
            tasted(who, sample, strength=(7, 8, 8, 7, 6, 5))
            tasted(who, arrived, strength=(2, 2.5, 2, 1.5, 1, 0.5), roast=1)
    test = {"id": str(uuid4()), "lot": str(arrived.id), "against": str(sample.id), "held_on": "2026-03-04"}
    assert taster.client.post("/api/v1/triangle-tests/", test).status_code == 201
    found = taster.client.get(address).json()
    assert (found["verdict"], found["sample"]) == ("different", str(sample.id))
    strength = next(row for row in found["descriptors"] if row["descriptor"] == "strength")
    assert strength["different"]
    assert strength["difference"] < -3
    assert [row["id"] for row in found["triangle_tests"]] == [test["id"]]


def test_an_arrival_check_needs_to_know_the_sample(taster):
    found = taster.client.get(f"/api/v1/lots/{LotFactory(team=taster.team).id}/arrival-check").json()
    assert (found["verdict"], found["sample"], found["triangle_tests"]) == ("cannot_tell", None, [])


def test_two_lots_side_by_side(taster, buyer, lexicon):
    strong, weak = LotFactory(team=taster.team), LotFactory(team=taster.team)
    for who in (taster, buyer):
        tasted(who, strong, strength=(7, 8, 8, 7, 6, 5))
        tasted(who, weak, strength=(4, 3, 2, 1, 0.5, 0.5))
    found = taster.client.get("/api/v1/compare", {"lots": f"{strong.id},{weak.id}"}).json()
    assert [group["name"] for group in found["groups"]] == [str(strong.id), str(weak.id)]
    [pair] = found["pairs"]
    assert pair["probability"]["stronger"] > 0.9
    assert pair["probability"]["outlasts"] > 0.9
    assert pair["shared_tasters"] == 2


def test_one_lot_in_two_vessels(taster, lexicon):
    lot = LotFactory(team=taster.team)
    tasted(taster, lot, vessel_material="porcelain")
    tasted(taster, lot, vessel_material="unglazed_clay")
    found = taster.client.get("/api/v1/compare", {"lot": str(lot.id)}).json()
    assert [group["name"] for group in found["groups"]] == ["porcelain", "unglazed_clay"]
    assert len(taster.client.get("/api/v1/compare", {"lot": str(lot.id), "by": "water"}).json()["groups"]) == 1


def test_what_cannot_be_compared_is_said(taster, stranger):
    mine, theirs = LotFactory(team=taster.team), LotFactory(team=stranger.team)
    for query, status in (
        ({}, 422),
        ({"lots": str(mine.id)}, 422),
        ({"lots": f"{mine.id},{mine.id}"}, 422),
        ({"lots": f"{mine.id},no-id"}, 422),
        ({"lot": "no-id"}, 422),
        ({"lots": f"{mine.id},{theirs.id}"}, 404),
        ({"lots": f"{mine.id},{uuid4()}"}, 404),
        ({"lot": str(mine.id), "by": "taster"}, 422),
        ({"lot": str(theirs.id)}, 404),
        ({"lot": str(mine.id), "lots": str(mine.id)}, 422),
        ({"lot": str(mine.id), "colour": "x"}, 422),
    ):
        assert taster.client.get("/api/v1/compare", query).status_code == status, query


def test_lot_that_cannot_be_compared_is_named(taster, stranger):
    mine, theirs, nobodys = LotFactory(team=taster.team), LotFactory(team=stranger.team), uuid4()

    def problems(**query):
        answer = taster.client.get("/api/v1/compare", query).json()
        return answer["type"], [(one["field"], one["code"], one["detail"]) for one in answer["problems"]]

    assert problems(lots=f"{mine.id}, x") == ("/problems/invalid", [("lots", "id", "x is no UUID")])
    assert problems(lots=f"{mine.id},") == ("/problems/invalid", [("lots", "id", '"" is no UUID')])
    assert problems(lot="x") == ("/problems/invalid", [("lot", "id", "x is no UUID")])
    assert problems(lots=f"{theirs.id},{mine.id},{nobodys}") == (
        "/problems/not-here",
        [("lots", "unknown_parent", f"there is no lot {lot}") for lot in (theirs.id, nobodys)],
    )
    assert problems(lot=str(theirs.id)) == (
        "/problems/not-here", [("lot", "unknown_parent", f"there is no lot {theirs.id}")],
    )  # fmt: skip
