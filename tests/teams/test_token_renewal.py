"""A token in use moves its own end on, at most once a day and up to a limit; one that is not used ends."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from teams.actions.people import record_use
from teams.models import DeviceToken
from tests.factories import NOON, DeviceTokenFactory

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


@pytest.fixture
def token(settings, taster):
    settings.DEVICE_TOKEN_DAYS, settings.DEVICE_TOKEN_MAX_DAYS = 30, 100
    made = DeviceTokenFactory(member=taster.member)
    DeviceToken.objects.filter(id=made.id).update(created_at=NOON, expires_at=NOON + 30 * DAY)
    return DeviceToken.objects.get(id=made.id)


def end_after_use(token, *, now):
    record_use(token, now=now)
    return DeviceToken.objects.get(id=token.id).expires_at


def test_use_moves_the_end_on(token):
    assert end_after_use(token, now=NOON + 10 * DAY) == NOON + 40 * DAY
    assert token.expires_at == NOON + 40 * DAY


def test_end_is_written_at_most_once_a_day(token):
    ends = {end_after_use(token, now=NOON + timedelta(hours=hour)) for hour in range(24)}
    after_a_day = end_after_use(token, now=NOON + DAY)

    assert (ends, after_a_day) == ({NOON + 30 * DAY}, NOON + 31 * DAY)


def test_use_within_a_minute_writes_nothing(token):
    record_use(token, now=NOON)
    token.refresh_from_db()
    with CaptureQueriesContext(
        connection,
    ) as statements:
        record_use(token, now=NOON + timedelta(seconds=59))

    assert list(statements) == []


def test_daily_use_ends_at_the_limit(token):
    for day in range(1, 100):
        end = end_after_use(token, now=NOON + day * DAY)

    assert end == token.must_sign_in_by == NOON + 100 * DAY


def test_end_at_the_limit_is_written_though_it_is_less_than_a_day_away(token):
    DeviceToken.objects.filter(id=token.id).update(expires_at=NOON + 100 * DAY - timedelta(hours=1))
    token.refresh_from_db()

    assert end_after_use(token, now=NOON + 90 * DAY) == NOON + 100 * DAY


def test_answers_tell_when_a_token_ends(taster, settings):
    me = taster.client.get("/api/v1/me").json()["token"]
    device = DeviceToken.objects.get(id=taster.device.id)
    [listed] = taster.client.get("/api/v1/auth/tokens").json()["results"]

    assert device.expires_at - device.last_used_at == settings.DEVICE_TOKEN_DAYS * DAY  # a day, before it was used
    assert me["id"] == str(device.id)
    assert {name: listed[name] for name in me} == me
    assert me["must_sign_in_by"] > me["expires_at"] == device.expires_at.isoformat().replace("+00:00", "Z")


def test_token_that_has_ended_is_not_renewed(taster):
    DeviceToken.objects.filter(id=taster.device.id).update(expires_at=NOON)

    assert taster.client.get("/api/v1/me").status_code == 401
    assert DeviceToken.objects.get(id=taster.device.id).expires_at == NOON
