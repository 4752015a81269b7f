"""What a team's tastings teach, and how it reaches the lots' figures."""

from datetime import timedelta
from types import SimpleNamespace
from uuid import uuid4

import pytest
from django.utils import timezone

from tastings.actions.developments import refresh_development
from tastings.actions.due import enqueue_due_lots, enqueue_due_panels
from tastings.actions.lexicon import load_lexicon
from tastings.actions.panels import refresh_panel
from tastings.models import Development, TeamPanel
from tastings.queries import panels
from tastings.queries.panels import calibration_of, evidence_of
from tests.api.phone import change, sync
from tests.api.world import undone
from tests.factories import LotFactory, TeamFactory, person

pytestmark = pytest.mark.django_db
CUPS = (4.0, 5.5, 6.0, 5.0, 4.0, 3.0)


def tasted(who, lot, *, gain=1.0, offset=0.0, ending=None):
    """Sync one session whose strength follows the same cups, rated on this taster's own scale."""
    session, changes = uuid4(), []
    fields = {"lot": str(lot.id), "started_at": "2026-03-04T10:00:00Z", "leaf_g": 5, "vessel_ml": 110, "warmed": True}
    changes.append(change("session", session, **fields, **({"ending": ending} if ending else {})))
    for number, cup in enumerate(CUPS, start=1):
        infusion = uuid4()
        rating = round(min(10.0, max(0.0, offset + gain * cup * (1 + 0.02 * number))), 1)
        changes.append(
            change("infusion", infusion, session=str(session), number=number, steep_s=18, pour_s=4, kettle_c=100)
        )
        note = {"moment": "mouth", "descriptor": "strength", "intensity": rating}
        changes.append(change("note", session=str(session), infusion=str(infusion), **note))
    sync(who.client, changes, device=uuid4())


@pytest.fixture(scope="module")
def world(django_db_setup, django_db_blocker):
    """Four lots tasted by three people, one of whom says everything two points higher; a test's changes are undone."""
    with django_db_blocker.unblock(), undone():
        load_lexicon()
        team = TeamFactory()
        people = {role: person(team, role) for role in ("taster", "buyer", "owner", "viewer")}
        lots = [LotFactory(team=team) for _ in range(4)]
        for lot in lots:
            tasted(people["taster"], lot)
            tasted(people["buyer"], lot)
            tasted(people["owner"], lot, offset=2.0, ending="spent")
            refresh_development(lot.id, now=timezone.now())
        assert refresh_panel(team.id, now=timezone.now())
        yield SimpleNamespace(panel_of_three=lots, **people)


def of_world(name):
    """Return a fixture that gives one part of the world."""

    @pytest.fixture(name=name)
    def part(world, db):
        return getattr(world, name)

    return part


panel_of_three, taster, buyer, owner, viewer = map(of_world, ("panel_of_three", "taster", "buyer", "owner", "viewer"))


def test_a_taster_who_says_more_is_found_and_the_curve_allows_for_it(panel_of_three, taster, owner, buyer):
    mine = owner.client.get(f"/api/v1/tasters/{owner.user.id}/calibration").json()
    [strength] = [row for row in mine["descriptors"] if row["descriptor"] == "strength"]
    assert strength["offset"] > 0.5
    assert (strength["sessions"], strength["lots"]) == (4, 4)
    theirs = buyer.client.get(f"/api/v1/tasters/{taster.user.id}/calibration").json()
    assert next(row["offset"] for row in theirs["descriptors"]) < 0
    lot = panel_of_three[0]
    address = f"/api/v1/lots/{lot.id}/development"
    before = taster.client.get(address).json()
    assert enqueue_due_lots(now=timezone.now()) == 4  # the calibration has moved: every lot is worked out again
    assert refresh_development(lot.id, now=timezone.now())
    after = taster.client.get(address).json()
    assert before["stale"] is after["stale"] is False
    assert after["curves"] != before["curves"]
    assert Development.objects.get(lot=lot).panel_version == TeamPanel.objects.get().version == 1


def test_learning_settles_instead_of_chasing_itself(panel_of_three, taster):
    for lot in panel_of_three:
        refresh_development(lot.id, now=timezone.now())
    TeamPanel.objects.update(due_revision=10**6)
    assert refresh_panel(taster.team.id, now=timezone.now())
    panel = TeamPanel.objects.get()
    assert panel.version <= 2
    for lot in panel_of_three:
        refresh_development(lot.id, now=timezone.now())
    TeamPanel.objects.update(due_revision=10**7)
    refresh_panel(taster.team.id, now=timezone.now())
    assert TeamPanel.objects.get().version == panel.version


def test_fatigue_is_learned_from_the_other_lots_and_reaches_the_curves(panel_of_three, taster):
    lot, *others = panel_of_three
    assert Development.objects.get(lot=lot).slope_evidence["strength"]["sd"] < 1.0
    tired, own = ({"strength": {"mean": mean, "sd": 0.02}} for mean in (-0.15, 0.15))
    Development.objects.filter(lot__in=others).update(slope_evidence=tired)
    Development.objects.filter(lot=lot).update(slope_evidence=own)
    assert calibration_of(taster.team.id, but_lot=lot.id).slopes["strength"].probability > 0.95
    assert evidence_of(taster.team.id).slopes()["strength"].probability < 0.8
    Development.objects.filter(lot=lot).update(slope_evidence=tired)
    address, version = f"/api/v1/lots/{lot.id}/development", TeamPanel.objects.get().version
    refresh_development(lot.id, now=timezone.now())
    Development.objects.filter(lot__in=others).update(slope_evidence=tired)
    TeamPanel.objects.update(due_revision=10**6)
    assert refresh_panel(taster.team.id, now=timezone.now())
    assert TeamPanel.objects.get().version == version + 1
    [curve] = taster.client.get(address).json()["curves"]
    beside = taster.client.get(f"/api/v1/compare?lots={lot.id},{others[0].id}").json()["groups"][0]["curves"]
    strength = next(one for one in beside if one["descriptor"] == "strength")
    assert strength["points"][5]["mean"] == pytest.approx(curve["points"][5]["mean"], abs=0.25)
    Development.objects.exclude(lot=lot).update(slope_evidence={})
    assert refresh_development(lot.id, now=timezone.now())
    [alone] = taster.client.get(address).json()["curves"]
    assert curve["points"][5]["mean"] > alone["points"][5]["mean"] + 0.3  # felt 0.75 weaker than it was


def test_among_many_lots_none_is_left_out(panel_of_three, taster, monkeypatch):
    lot, *others = panel_of_three
    tired = {"strength": {"mean": -0.15, "sd": 0.02}}
    Development.objects.filter(lot__in=others).update(slope_evidence=tired)
    monkeypatch.setattr(panels, "FEW_LOTS", len(others) - 1)
    of_team = calibration_of(taster.team.id)
    assert calibration_of(taster.team.id, but_lot=lot.id) == of_team
    assert of_team.slopes["strength"] != evidence_of(taster.team.id).slopes()["strength"]
    monkeypatch.setattr(panels, "FEW_LOTS", len(others))
    assert calibration_of(taster.team.id, but_lot=lot.id) != of_team


def test_the_finish_line_is_learned_from_endings(panel_of_three, taster):
    line = taster.client.get("/api/v1/panel").json()["finish_line"]
    assert line["sd"] < 1.0
    figures = taster.client.get(f"/api/v1/lots/{panel_of_three[0].id}/development").json()
    assert figures["steeps"]["sessions_spent"] == 1


def test_a_taster_sees_their_own_and_the_panels_and_only_buyers_and_owners_all(panel_of_three, taster, buyer, viewer):
    address = f"/api/v1/tasters/{buyer.user.id}/calibration"
    assert buyer.client.get(address).status_code == 200
    refused = taster.client.get(address)
    assert (refused.status_code, refused.json()["type"]) == (403, "/problems/not-allowed")
    assert taster.client.get(f"/api/v1/tasters/{uuid4()}/calibration").status_code == 404
    assert [row["taster"] for row in taster.client.get("/api/v1/panel").json()["tasters"]] == [str(taster.user.id)]
    assert viewer.client.get("/api/v1/panel").json()["tasters"] == []
    seen = buyer.client.get("/api/v1/panel").json()
    assert len(seen["tasters"]) == 3
    [strength] = seen["agreement"]
    assert (strength["descriptor"], strength["tasters"], strength["lots"]) == ("strength", 3, 4)


def test_a_team_without_tastings_has_an_empty_panel():
    taster = person(TeamFactory(), "taster")
    found = taster.client.get("/api/v1/panel").json()
    assert (found["agreement"], found["tasters"], found["computed_at"]) == ([], [], None)
    assert found["finish_line"] == {"mean": 2.5, "sd": 1.0}
    assert taster.client.get(f"/api/v1/tasters/{taster.user.id}/calibration").json()["descriptors"] == []


def test_teams_learn_at_most_once_a_minute(panel_of_three, taster):
    TeamPanel.objects.update(due_revision=10**6)
    now = timezone.now()
    assert enqueue_due_panels(now=now) == 0
    assert enqueue_due_panels(now=now + timedelta(seconds=90)) == 1
    assert enqueue_due_panels(now=now + timedelta(seconds=100)) == 0  # asked for and under way


def test_strangers_learn_nothing(panel_of_three, taster, stranger):
    absent = stranger.client.get(f"/api/v1/tasters/{uuid4()}/calibration")
    foreign = stranger.client.get(f"/api/v1/tasters/{taster.user.id}/calibration")
    assert (foreign.status_code, foreign.content) == (404, absent.content)
    other = person(stranger.team, "taster")
    assert other.client.get("/api/v1/panel").json()["tasters"] == []
