"""Leaving a team: nothing more comes, and the devices are signed out at once."""

from uuid import uuid4

import pytest

from teams.models import Member, Role
from tests.factories import person

pytestmark = pytest.mark.django_db


def members(who):
    return {row["id"]: row["left_at"] for row in who.client.get("/api/v1/members/").json()["results"]}


def test_owner_removes_a_member_and_signs_out_their_phone(owner, taster):
    assert owner.client.delete(f"/api/v1/members/{taster.user.id}/").status_code == 204
    assert taster.client.post("/api/v1/sync", {"schema": 1, "device": str(uuid4())}).status_code == 401
    assert members(owner)[str(taster.user.id)] is not None  # their notes still name them
    assert owner.client.delete(f"/api/v1/members/{taster.user.id}/").status_code == 404


def test_members_may_leave_but_not_remove_others(taster, buyer):
    assert buyer.client.delete(f"/api/v1/members/{taster.user.id}/").status_code == 403
    assert taster.client.delete(f"/api/v1/members/{taster.user.id}/").status_code == 204
    assert taster.client.get("/api/v1/me").status_code == 401


def test_last_owner_cannot_leave(owner, taster):
    assert owner.client.delete(f"/api/v1/members/{owner.user.id}/").status_code == 403
    second = person(owner.team, Role.OWNER)
    assert second.client.delete(f"/api/v1/members/{owner.user.id}/").status_code == 204
    assert owner.client.get("/api/v1/me").status_code == 401


def test_member_of_another_team_is_not_found(owner, stranger):
    for user in (stranger.user.id, uuid4()):
        assert owner.client.delete(f"/api/v1/members/{user}/").status_code == 404
    assert not Member.objects.filter(left_at__isnull=False).exists()
