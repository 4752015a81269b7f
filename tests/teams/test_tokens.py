"""A token is looked up by a statement of our own: what it gives is what Django would."""

from datetime import timedelta

import pytest
from django.utils import timezone

from teams.actions.people import token_digest
from teams.models import DeviceToken
from teams.queries.tokens import token_by_digest
from tests.factories import ShopFactory

pytestmark = pytest.mark.django_db


def values(row):
    return {field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields}


@pytest.mark.parametrize("with_shop", [True, False])
def test_token_comes_with_member_login_team_and_shop_as_django_reads_them(taster, with_shop, django_assert_num_queries):
    taster.member.shop = ShopFactory(team=taster.team) if with_shop else None
    taster.member.save()
    with django_assert_num_queries(2):
        found = token_by_digest(token_digest(taster.token), now=timezone.now())
        rows = (found, found.member, found.member.user, found.member.team, found.member.shop)
    usual = DeviceToken.objects.select_related("member__user", "member__team", "member__shop").get(id=found.id)
    expected = (usual, usual.member, usual.member.user, usual.member.team, usual.member.shop)

    assert [row and values(row) for row in rows] == [row and values(row) for row in expected]
    assert [type(row) for row in rows] == [type(row) for row in expected]
    assert not found._state.adding


def test_token_that_ended_or_whose_member_left_or_is_barred_is_none(taster):
    digest, now = token_digest(taster.token), timezone.now()
    assert token_by_digest("0" * 64, now=now) is None
    assert token_by_digest(digest, now=now + timedelta(days=4000)) is None
    taster.user.is_active = False
    taster.user.save()
    assert token_by_digest(digest, now=now) is None
    taster.user.is_active = True
    taster.user.save()
    taster.member.left_at = now
    taster.member.save()
    assert token_by_digest(digest, now=now) is None
