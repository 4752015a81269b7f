"""Marking lots whose figures are behind, and asking for the job that brings them up to date."""

from collections.abc import Collection
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import F, OuterRef, Q, QuerySet, Subquery

from tastings.jobs import Job, later
from tastings.maths.development import METHOD
from tastings.models import Development, TeamPanel

GATHER_S = 0.25
"""So long an asked job waits for more edits of the same moment."""
APART_S = 1.0
"""Two runs for one lot start at least so far apart: ten edits in a second cost one or two runs."""
_FORGOTTEN = timedelta(seconds=30)
_PANEL_APART = timedelta(seconds=60)


def mark_due(team: UUID, lots: Collection[UUID], *, revision: int, now: datetime) -> None:
    """Mark the lots in the present transaction and ask for a job for each that has none under way."""
    if not lots:
        return
    Development.objects.bulk_create(
        [Development(lot_id=lot, team_id=team, due_revision=revision) for lot in sorted(lots)],
        update_conflicts=True,
        unique_fields=["lot"],
        update_fields=["due_revision"],
    )
    ask_for(Development.objects.filter(lot_id__in=lots), now=now)


def ask_due(*, now: datetime) -> int:
    """Ask for every lot whose figures are behind or of an older method and whose job was lost; return how many."""
    version = TeamPanel.objects.filter(team_id=OuterRef("team_id")).values("version")
    behind = Q(due_revision__gt=F("computed_revision")) | Q(computed_revision__gt=0) & (
        ~Q(method=METHOD) | Q(panel_version__lt=Subquery(version))
    )
    return ask_for(Development.objects.filter(behind), now=now)


def ask_due_panels(*, now: datetime) -> int:
    """Ask for every team with new figures to learn from, each at most once a minute; return how many."""
    behind = Q(due_revision__gt=F("computed_revision")) | (Q(computed_revision__gt=0) & ~Q(method=METHOD))
    free = Q(asked_at=None) | Q(asked_at__lt=now - _PANEL_APART)
    rested = Q(started_at=None) | Q(started_at__lt=now - _PANEL_APART)
    rows = list(TeamPanel.objects.filter(behind, free, rested).select_for_update().order_by("team_id"))
    TeamPanel.objects.filter(team_id__in=[row.team_id for row in rows]).update(asked_at=now)
    for row in rows:
        later(Job.REFRESH_PANEL, str(row.team_id))
    return len(rows)


def ask_for(developments: QuerySet[Development], *, now: datetime) -> int:
    """Ask for those of the developments that have no job under way."""
    unasked = Q(asked_at=None) | Q(asked_at__lt=now - _FORGOTTEN)
    rows = list(developments.filter(unasked).select_for_update(skip_locked=False).order_by("lot_id"))
    Development.objects.filter(lot_id__in=[row.lot_id for row in rows]).update(asked_at=now)
    for row in rows:
        since_s = (now - row.started_at).total_seconds() if row.started_at else APART_S
        later(Job.REFRESH_DEVELOPMENT, str(row.lot_id), wait_s=max(GATHER_S, APART_S - since_s))
    return len(rows)
