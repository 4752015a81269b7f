"""Figures of the latest sessions go by the server's clock: a device may claim any day."""

from datetime import timedelta

import pytest

from tastings.queries.brews import load_latest_brews
from tastings.queries.guides import LATEST_SESSIONS, usual_pot_of
from tests.factories import NOON, InfusionFactory, LotFactory, SessionFactory

pytestmark = pytest.mark.django_db


def session(who, *, day, claimed_days, **fields):
    """Make a session that the server has had since a day after noon, and that claims to have begun on another."""
    lot = LotFactory(team=who.team, by=who.user)
    made = SessionFactory(
        lot=lot, created_at=NOON + timedelta(days=day), started_at=NOON + timedelta(days=claimed_days), **fields
    )
    InfusionFactory(session=made)
    return str(lot.id)


def test_tasters_scales_are_learned_from_the_sessions_that_came_last(taster):
    session(taster, day=0, claimed_days=20_000)
    last = session(taster, day=1, claimed_days=1)
    assert list(load_latest_brews(taster.team.id, sessions=1)) == [last]


def test_a_usual_pot_is_that_of_the_sessions_that_came_last(taster):
    for i in range(LATEST_SESSIONS):
        session(taster, day=0, claimed_days=20_000 + i, vessel_ml=500)
        session(taster, day=1, claimed_days=i, vessel_ml=110)
    assert usual_pot_of(taster.member).vessel_ml == 110
