"""Leaving a team: nothing more comes, and the devices are signed out at once."""

from uuid import uuid4

import pytest

from teams.models import Member, Role
from tests.factories import person

pytestmark = pytest.mark.django_db


def members(who):
    return {row["id"]: row["left_at"] for row in who.client.get("/api/v1/members/").json()["results"]}


def test_an_owner_takes_a_member_out_and_their_phone_is_signed_out(owner, taster):
    assert owner.client.delete(f"/api/v1/members/{taster.user.id}/").status_code == 204
    assert taster.client.post("/api/v1/sync", {"schema": 1, "device": str(uuid4())}).status_code == 401
    assert members(owner)[str(taster.user.id)] is not None  # their notes still name them
    assert owner.client.delete(f"/api/v1/members/{taster.user.id}/").status_code == 404


def test_anyone_leaves_by_themselves_but_takes_nobody_along(taster, buyer):
    assert buyer.client.delete(f"/api/v1/members/{taster.user.id}/").status_code == 403
    assert taster.client.delete(f"/api/v1/members/{taster.user.id}/").status_code == 204
    assert taster.client.get("/api/v1/me").status_code == 401


def test_the_last_owner_stays(owner, taster):
    assert owner.client.delete(f"/api/v1/members/{owner.user.id}/").status_code == 403
    second = person(owner.team, Role.OWNER)
    assert second.client.delete(f"/api/v1/members/{owner.user.id}/").status_code == 204
    assert owner.client.get("/api/v1/me").status_code == 401


def test_other_teams_members_are_not_there(owner, stranger):
    for user in (stranger.user.id, uuid4()):
        assert owner.client.delete(f"/api/v1/members/{user}/").status_code == 404
    assert not Member.objects.filter(left_at__isnull=False).exists()
