"""The audit log: what is in it, that it is the team's own, and that owners alone read it."""

from datetime import timedelta
from uuid import uuid4

import pytest

from tastings.audit_events import TastingEvent
from teams.actions.audit import record_event, record_event_in_every_team
from teams.models import AuditEntry, AuditEvent
from tests.api.problems import refusal
from tests.factories import NOON, MemberFactory

ADDRESS = "/api/v1/audit"


def written(who, *, what=TastingEvent.SHARE, at=NOON, **about):
    record_event(team=who.team.id, login=who.user.id, event=what, about=about, now=at)


def test_owner_reads_the_audit_log(owner, taster):
    written(taster, what=TastingEvent.EXPORT, at=NOON, rows=3)
    written(owner, what=TastingEvent.REVEAL, at=NOON + timedelta(seconds=1), flight="7")
    answer = owner.client.get(ADDRESS).json()

    assert [{**entry, "id": ""} for entry in answer["results"]] == [
        {
            "id": "", "at": "2026-03-04T12:00:01Z", "who": str(owner.user.id), "name": str(owner.user),
            "what": "reveal", "about": {"flight": "7"},
        },
        {
            "id": "", "at": "2026-03-04T12:00:00Z", "who": str(taster.user.id), "name": str(taster.user),
            "what": "export", "about": {"rows": 3},
        },
    ]  # fmt: skip
    assert answer["next"] is None


@pytest.mark.parametrize("role", ["buyer", "taster", "viewer"])
def test_only_owners_read_the_audit_log(owner, role, request):
    written(owner)

    assert refusal(request.getfixturevalue(role).client.get(ADDRESS)) == (403, "not-allowed", set())


def test_audit_log_is_the_teams_own(owner, stranger, django_user_model):
    written(owner)
    AuditEntry.objects.create(team=None, who=None, what="failed_sign_in", about={"address": ""}, at=NOON)
    elsewhere = MemberFactory(team=stranger.team, user=owner.user)
    record_event_in_every_team(login=owner.user.id, event=AuditEvent.PASSWORD_CHANGE, about={}, now=NOON)

    assert [one["what"] for one in stranger.client.get(ADDRESS).json()["results"]] == ["password_change"]
    assert sorted(one["what"] for one in owner.client.get(ADDRESS).json()["results"]) == ["password_change", "share"]
    assert elsewhere.team == stranger.team


@pytest.mark.parametrize("rows", [1, 3])
def test_audit_log_is_read_in_pages_and_three_queries(owner, stranger, rows, django_assert_num_queries):
    for n in range(rows):
        written(owner, at=NOON + timedelta(seconds=n // 2), n=n)
    written(stranger)
    owner.client.get("/api/v1/me")
    with django_assert_num_queries(3):  # whose team; the token with its member; the entries with their logins
        whole = owner.client.get(ADDRESS).json()["results"]
    pages, address = [], f"{ADDRESS}?limit=1"
    while address:
        page = owner.client.get(address).json()
        pages += page["results"]
        address = page["next"]

    assert pages == whole
    assert len({entry["id"] for entry in pages}) == rows


def test_audit_log_is_filtered_by_event(owner):
    written(owner)
    written(owner, what=TastingEvent.DECISION)

    assert [one["what"] for one in owner.client.get(f"{ADDRESS}?what=decision").json()["results"]] == ["decision"]
    assert refusal(owner.client.get(f"{ADDRESS}?what=tea")) == (422, "invalid", {("what", "choice")})
    assert refusal(owner.client.get(f"{ADDRESS}?who=me")) == (422, "invalid", {("who", "unknown_filter")})
    assert owner.client.get(f"{ADDRESS}?after={uuid4()}").json()["results"] == []


def test_page_after_an_entry_of_another_team_is_empty(owner, stranger):
    written(owner)
    written(stranger)
    theirs = AuditEntry.objects.get(team=stranger.team)

    assert owner.client.get(f"{ADDRESS}?after={theirs.id}").json()["results"] == []
