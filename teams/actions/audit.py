"""The audit log: what was done, by whom, about what. Owners read it; nobody changes it."""

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from uuid import UUID

from teams.models import AuditEntry, Member
from teams.row_security import acting_for, delete_teamless_failures, every_team, skip_team_elsewhere, teams_of_login

AUDIT_RETENTION_DAYS = 400
"""A year and a month, so that last year's season can still be looked up. Own choice, no source."""


def record_event(*, team: UUID, login: UUID | None, event: str, about: Mapping[str, object], now: datetime) -> None:
    """Add one entry about ``team`` and ``login`` in the transaction of the event: neither is stored without the other.

    ``about`` says as JSON what it was done to: ids as texts, never a password, a token or a note's words.
    """
    record_events(team=team, login=login, event=event, abouts=[about], now=now)


def record_events(
    *, team: UUID, login: UUID | None, event: str, abouts: Sequence[Mapping[str, object]], now: datetime
) -> None:
    """Add an entry for each of ``abouts``, as `record_event` does for one."""
    AuditEntry.objects.bulk_create(
        AuditEntry(team_id=team, who_id=login, what=event, about=dict(about), at=now) for about in abouts
    )


def record_event_in_every_team(*, login: UUID, event: str, about: Mapping[str, object], now: datetime) -> None:
    """Add one entry to the log of each team of which the login is a member."""
    with acting_for(*teams_of_login(login)):
        teams = Member.objects.filter(user_id=login, left_at=None).values_list("team_id", flat=True)
        AuditEntry.objects.bulk_create(
            AuditEntry(team_id=team, who_id=login, what=event, about=dict(about), at=now) for team in teams
        )


def delete_old_entries(*, now: datetime) -> int:
    """Delete what is older than `AUDIT_RETENTION_DAYS`; return how many entries there were."""
    before = now - timedelta(days=AUDIT_RETENTION_DAYS)
    n_deleted = delete_teamless_failures(before=before)
    for team in every_team():
        with skip_team_elsewhere(), acting_for(team):
            n_deleted += AuditEntry.objects.filter(team_id=team, at__lt=before).delete()[0]
    return n_deleted
