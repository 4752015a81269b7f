"""Changing roles and shops, handing the team over."""

from threading import Barrier, Thread
from uuid import uuid4

import pytest
from django.db import connections

from teams.models import AuditEntry, Member, Role
from tests.api.problems import refusal
from tests.factories import MemberFactory, ShopFactory, person

pytestmark = pytest.mark.django_db
OWNER_CHANGE = "/api/v1/team/owner"


def address(who):
    return f"/api/v1/members/{who.user.id}/"


def role_of(who):
    return Member.objects.get(id=who.member.id).role


def test_an_owner_changes_role_and_shop_and_the_phone_follows_at_once(owner, taster):
    shop = ShopFactory(team=owner.team)
    answer = owner.client.patch(address(taster), {"role": "buyer", "shop": str(shop.id)})
    me = taster.client.get("/api/v1/me").json()

    assert (answer.status_code, answer.json()["role"], answer.json()["shop"]) == (200, "buyer", str(shop.id))
    assert (me["role"], me["shop"]["id"]) == ("buyer", str(shop.id))
    assert list(AuditEntry.objects.values_list("team", "who", "what", "about")) == [
        (owner.team.id, owner.user.id, "role_change", {"member": str(taster.user.id), "from": "taster", "to": "buyer"})
    ]


@pytest.mark.parametrize("role", ["buyer", "taster", "viewer"])
def test_only_owners_change_roles(owner, role, request):
    someone = request.getfixturevalue(role)
    answers = [
        someone.client.patch(address(someone), {"role": "owner"}),
        someone.client.patch(address(owner), {"role": "viewer"}),
        someone.client.post(OWNER_CHANGE, {"to": str(someone.user.id)}),
    ]

    assert [refusal(answer) for answer in answers] == [(403, "not-allowed", set())] * 3
    assert (role_of(owner), role_of(someone)) == ("owner", role)
    assert not AuditEntry.objects.exists()


def test_last_owner_cannot_step_down(owner, taster):
    alone = owner.client.patch(address(owner), {"role": "buyer"})
    second = person(owner.team, Role.OWNER)
    answer = second.client.patch(address(owner), {"role": "taster"})

    assert refusal(alone) == (403, "not-allowed", set())
    assert (answer.status_code, role_of(owner), role_of(second)) == (200, "taster", "owner")
    assert refusal(owner.client.patch(address(taster), {"role": "viewer"})) == (403, "not-allowed", set())


@pytest.mark.parametrize(
    ("sent", "problems"),
    [
        ({"role": "king"}, {("role", "choice")}),
        ({"role": None}, {("role", "required")}),
        ({"shop": str(uuid4())}, {("shop", "unknown_parent")}),
        ({"shop": "x"}, {("shop", "id")}),
        ({"name": "Mei"}, {("name", "unknown_field")}),
    ],
)
def test_invalid_member_change_is_refused(owner, taster, sent, problems):
    assert refusal(owner.client.patch(address(taster), sent)) == (422, "invalid", problems)
    assert role_of(taster) == "taster"


def test_nothing_changes_by_an_empty_change_or_the_same_role(owner, taster):
    answers = [owner.client.patch(address(taster), sent) for sent in ({}, {"role": "taster"})]

    assert [answer.status_code for answer in answers] == [200, 200]
    assert not AuditEntry.objects.exists()


def test_role_of_a_former_member_cannot_change(owner, taster):
    owner.client.delete(address(taster))

    assert refusal(owner.client.patch(address(taster), {"role": "buyer"})) == (404, "not-here", set())


def test_shop_of_another_team_is_refused(owner, taster, stranger):
    answer = owner.client.patch(address(taster), {"shop": str(stranger.member.shop_id)})

    assert refusal(answer) == (422, "invalid", {("shop", "unknown_parent")})


def test_owner_transfers_the_team(owner, taster):
    answer = owner.client.post(OWNER_CHANGE, {"to": str(taster.user.id)})

    assert (answer.status_code, role_of(owner), role_of(taster)) == (204, "buyer", "owner")
    assert AuditEntry.objects.filter(what="role_change").count() == 2
    assert refusal(owner.client.post(OWNER_CHANGE, {"to": str(owner.user.id)})) == (403, "not-allowed", set())


def test_transfer_to_nobody_or_oneself_is_refused(owner, stranger, team):
    left = MemberFactory(team=team, left_at="2026-01-01T00:00Z")
    nobody = [owner.client.post(OWNER_CHANGE, {"to": str(to)}) for to in (uuid4(), stranger.user.id, left.user_id)]
    myself = owner.client.post(OWNER_CHANGE, {"to": str(owner.user.id)})

    assert [refusal(answer) for answer in nobody] == [(404, "not-here", set())] * 3
    assert len({answer.content for answer in nobody}) == 1
    assert refusal(myself) == (422, "invalid", {("to", "itself")})
    assert refusal(owner.client.post(OWNER_CHANGE, {})) == (422, "invalid", {("to", "required")})
    assert role_of(owner) == "owner"


@pytest.mark.django_db(transaction=True)
def test_two_owners_who_step_down_at_once_leave_one(owner):
    second = person(owner.team, Role.OWNER)
    together, codes = Barrier(2, timeout=60), []

    def step_down(who):
        together.wait()
        codes.append(who.client.patch(address(who), {"role": "buyer"}).status_code)
        connections.close_all()

    threads = [Thread(target=step_down, args=[who]) for who in (owner, second)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert sorted(codes) == [200, 403]
    assert Member.objects.filter(team=owner.team, role="owner").count() == 1
