"""Pots: who may change them, a shop's usual pot, and what guide, card and report make of it."""

from dataclasses import replace
from uuid import uuid4

import pytest
from django.utils import timezone

from tastings.models import Pot
from tastings.queries.guides import guide_in_usual_pot, usual_pot_of
from tastings.reports.guide import guide_section
from teams.models import Role
from tests.api.phone import change, sync
from tests.factories import ABSENT_ID, LotFactory, PotFactory, SessionFactory, TeamFactory, person
from tests.tastings.reports.sample import figures
from tests.tastings.reports.sample_guide import GUIDE

pytestmark = pytest.mark.django_db


@pytest.fixture
def buyer():
    return person(TeamFactory(), Role.BUYER)


@pytest.fixture
def pot(buyer):
    return PotFactory(
        team=buyer.team, by=buyer.user, name="Red clay pot", vessel_ml=130, vessel_material="unglazed_clay",
        vessel_g=180, leaf_g=6, pour_s=12,
    )  # fmt: skip


def choose(someone, pot, *, shop=None):
    address = f"/api/v1/shops/{shop or someone.member.shop_id}/"
    return someone.client.patch(address, {"usual_pot": pot and str(pot)})


def test_later_edit_of_a_pot_changes_no_session(buyer, pot):
    lot, session = LotFactory(team=buyer.team, by=buyer.user), uuid4()
    brewed = {"lot": str(lot.id), "started_at": "2026-03-04T10:00:00Z", "leaf_g": 6, "vessel_ml": 130}
    sync(buyer.client, [change("session", session, pot=str(pot.id), **brewed)])
    sync(buyer.client, [change("pot", pot.id, vessel_ml=90, at="2026-03-05T10:00:00Z")])

    stored = buyer.client.get(f"/api/v1/sessions/{session}/").json()

    assert (stored["pot"], stored["vessel_ml"]) == (str(pot.id), 130)
    assert Pot.objects.get(id=pot.id).vessel_ml == 90


def test_session_cannot_name_a_pot_of_another_team(buyer):
    foreign, lot = PotFactory(), LotFactory(team=buyer.team, by=buyer.user)
    brewed = {"lot": str(lot.id), "started_at": "2026-03-04T10:00:00Z", "leaf_g": 6, "vessel_ml": 130}

    [verdict] = sync(buyer.client, [change("session", pot=str(foreign.id), **brewed)])["verdicts"]

    assert [(p["field"], p["code"]) for p in verdict["problems"]] == [("pot", "unknown_parent")]


def test_guide_and_report_are_for_the_pot_that_the_shop_has_named(buyer, pot):
    lot = LotFactory(team=buyer.team, by=buyer.user)
    for _ in range(3):
        SessionFactory(lot=lot, shop=buyer.member.shop, vessel_ml=110)
    assert usual_pot_of(buyer.member).vessel_ml == 110

    answer = choose(buyer, pot.id)

    assert (answer.status_code, answer.json()["usual_pot"]) == (200, str(pot.id))
    usual = usual_pot_of(buyer.member)
    assert (usual.vessel_ml, usual.vessel_material, usual.leaf_g, usual.pour_s) == (130, "unglazed_clay", 6, 12)
    assert "Red clay pot" in guide_section(replace(GUIDE, pot=usual), steeps=figures().steeps).pot
    vessel = guide_in_usual_pot(buyer.member, lot.id, pot=usual).guide.vessel
    assert (vessel.leaf_g, vessel.vessel_ml, vessel.vessel_g) == (6, 130, 180)
    asked = buyer.client.get(f"/api/v1/lots/{lot.id}/brew-guide").json()
    named = {"vessel_ml": 130, "vessel_material": "unglazed_clay", "vessel_g": 180, "leaf_g": 6, "pour_s": 12}
    same = buyer.client.get(f"/api/v1/lots/{lot.id}/brew-guide", named).json()
    assert asked["infusions"] == same["infusions"]


def test_deleted_pot_is_nobodys_usual_pot(buyer, pot):
    choose(buyer, pot.id)
    sync(buyer.client, [change("pot", pot.id, deleted=True, at=timezone.now().isoformat())])

    assert usual_pot_of(buyer.member).name is None


def test_usual_pot_is_one_of_the_team(buyer):
    for absent in (PotFactory().id, ABSENT_ID):
        refused = choose(buyer, absent)

        assert refused.status_code == 422
        assert [(p["field"], p["code"]) for p in refused.json()["problems"]] == [("usual_pot", "unknown_parent")]


def test_owner_and_buyer_choose_the_usual_pot_and_only_an_owner_renames_a_shop(buyer, pot):
    owner, taster = person(buyer.team, Role.OWNER), person(buyer.team, Role.TASTER)
    shop = buyer.member.shop_id

    assert choose(owner, pot.id, shop=shop).status_code == 200
    assert choose(taster, pot.id, shop=shop).status_code == 403
    renamed = buyer.client.patch(f"/api/v1/shops/{shop}/", {"name": "New name", "usual_pot": None})
    assert renamed.status_code == 403
    assert owner.client.get(f"/api/v1/shops/{shop}/").json()["usual_pot"] == str(pot.id)
    assert choose(buyer, None).json()["usual_pot"] is None


def test_an_id_in_use_by_another_type_is_taken(buyer, pot):
    [stored, *_] = sync(buyer.client, [change("lot", pot.id, name="Mist Ridge", kind="oolong")])["verdicts"]
    twice = uuid4()
    lot = change("lot", twice, name="Mist Ridge", kind="oolong")
    bowl = change("pot", twice, name="Bowl", vessel_ml=110, vessel_material="glass")
    at_once = sync(buyer.client, [bowl, lot])["verdicts"]

    assert [(p["field"], p["code"]) for p in stored["problems"]] == [("id", "taken")]
    assert [one["verdict"] for one in at_once] == ["refused", "applied"]
