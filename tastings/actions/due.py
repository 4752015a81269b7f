"""Marks lots whose figures are outdated, and enqueues the jobs that compute them again.

An edited lot is enqueued at once in the `fresh` queue, which workers empty first. Only a few lots of a team are
enqueued at a time, so that a team with many edits does not delay another team's single tasting. All others, and lots
whose figures are of an older method, go to the `steady` queue, a few of each team at a time. Each finished job enqueues
the team's next lot, so teams take turns. The timetable starts that for each team and enqueues lots whose message was
lost.
"""

from collections import Counter
from collections.abc import Collection
from datetime import datetime, timedelta
from random import random
from uuid import UUID

import msgspec
from django.db.models import Case, F, OuterRef, Q, QuerySet, Subquery, Value, When, Window
from django.db.models.functions import RowNumber

from tastings.jobs import Job, later
from tastings.maths.curve.development import METHOD
from tastings.models import Development, TeamPanel
from tastings.queues import Queue
from teams.postgresql.together import Statement, run_together

DEBOUNCE_S = 0.05
"""A job waits so long for more edits of the same moment."""
MIN_INTERVAL_S = 1.0
"""Least time between the starts of two jobs for one lot: ten edits in a second cost one or two jobs."""
MAX_STEADY = 8
"""Most lots of one team that are enqueued or running in the steady queue."""
MAX_FRESH = 8
"""Most further lots of one team that are enqueued when they are edited."""
MAX_RUNNING = 400
"""Most lots of all teams that are enqueued or running; few enough that none waits until it counts as lost."""
_LOST_AFTER = timedelta(seconds=30)
_PANEL_INTERVAL = timedelta(seconds=60)


_MARK_DUE = """
    WITH running AS (
        SELECT count(*) AS number FROM tastings_development
        WHERE team_id = %(team)s AND due_revision > computed_revision AND asked_at >= %(lost_before)s
    ), edited AS (
        SELECT lot, row_number() OVER (ORDER BY lot) AS place FROM unnest(%(lots)s::uuid[]) AS lot
    )
    INSERT INTO tastings_development AS stored (
        lot_id, team_id, due_revision, asked_at,
        computed_revision, method, tasted, line_evidence, slope_evidence, panel_version, failure
    )
    SELECT lot, %(team)s, %(revision)s, CASE WHEN place + number <= %(most)s THEN %(now)s::timestamptz END,
        0, '', '[]', '[]', '{}', 0, ''
    FROM edited, running ORDER BY lot
    ON CONFLICT (lot_id) DO UPDATE SET due_revision = EXCLUDED.due_revision, asked_at = CASE
        WHEN stored.asked_at >= %(lost_before)s THEN stored.asked_at ELSE coalesce(EXCLUDED.asked_at, stored.asked_at)
    END
    RETURNING lot_id, started_at, asked_at IS NOT DISTINCT FROM %(now)s::timestamptz
"""
"""Every push does this, so it is one statement: the ORM needs four. The condition of `running` has a partial index."""


def mark_due(team: UUID, lots: Collection[UUID], *, revision: int, now: datetime) -> None:
    """Mark the lots as due in the present transaction and enqueue as many as the team's limit allows."""
    if lots:
        [marked] = run_together([mark_due_statement(team, lots, revision=revision, now=now)])
        enqueue_marked(team, marked, now=now)


def mark_due_statement(team: UUID, lots: Collection[UUID], *, revision: int, now: datetime) -> Statement:
    """Return the statement that marks lots as due; its rows are for `enqueue_marked`."""
    return _MARK_DUE, {
        "team": team,
        "lots": list(lots),
        "revision": revision,
        "most": MAX_STEADY + MAX_FRESH,
        "now": now,
        "lost_before": now - _LOST_AFTER,
    }


def enqueue_marked(team: UUID, marked: list[tuple[object, ...]], *, now: datetime) -> None:
    """Enqueue those of the marked lots that the team's limit allows, after the commit."""
    for lot, started_at, is_enqueued in msgspec.convert(marked, list[tuple[UUID, datetime | None, bool]]):
        if is_enqueued:
            wait_s = max(DEBOUNCE_S, _wait_s(started_at, now=now))
            later(Job.REFRESH_DEVELOPMENT, str(lot), wait_s=wait_s, queue=Queue.FRESH, team=team)


def enqueue_next(team: UUID, *, now: datetime) -> int:
    """Enqueue the team's next outdated lots up to its limit; return how many."""
    of_team = Development.objects.filter(team_id=team)
    n_free = MAX_STEADY - of_team.filter(asked_at__gte=now - _LOST_AFTER).count()
    n_enqueued = 0
    for outdated in (_IS_EDITED, _is_of_older_method()):  # one after the other, since the first has an index
        if n_enqueued < n_free:
            waiting = of_team.filter(outdated, _not_enqueued(now)).order_by("due_revision")
            n_enqueued += _enqueue(waiting.select_for_update(skip_locked=True)[: n_free - n_enqueued], now=now)
    return n_enqueued


def enqueue_due_lots(*, now: datetime) -> int:
    """Enqueue outdated lots without a running job, each team up to its limit; return how many."""
    running = Counter(Development.objects.filter(asked_at__gte=now - _LOST_AFTER).values_list("team_id", flat=True))
    n_free = MAX_RUNNING - running.total()
    if n_free <= 0:
        return 0
    rank = Window(RowNumber(), partition_by="team_id", order_by=_FIRST)
    outdated = _IS_EDITED | _is_of_older_method()
    waiting = Development.objects.filter(outdated, _not_enqueued(now)).annotate(rank=rank)
    candidates = [
        (rank_in_team + running[team], random(), lot)  # noqa: S311 - the order of teams with equal ranks
        for lot, team, rank_in_team in waiting.filter(rank__lte=MAX_STEADY).values_list("lot_id", "team_id", "rank")
        if rank_in_team + running[team] <= MAX_STEADY
    ]
    chosen = Development.objects.filter(_not_enqueued(now), lot_id__in=[lot for *_, lot in sorted(candidates)[:n_free]])
    return _enqueue(chosen.select_for_update(skip_locked=True).order_by("lot_id"), now=now)


def enqueue_due_panels(*, now: datetime) -> int:
    """Enqueue the calibration of every team with new figures, each at most once a minute; return how many."""
    is_outdated = Q(due_revision__gt=F("computed_revision")) | (Q(computed_revision__gt=0) & ~Q(method=METHOD))
    not_enqueued = Q(asked_at=None) | Q(asked_at__lt=now - _PANEL_INTERVAL)
    not_recent = Q(started_at=None) | Q(started_at__lt=now - _PANEL_INTERVAL)
    rows = list(TeamPanel.objects.filter(is_outdated, not_enqueued, not_recent).select_for_update().order_by("team_id"))
    TeamPanel.objects.filter(team_id__in=[row.team_id for row in rows]).update(asked_at=now)
    for row in rows:
        later(Job.REFRESH_PANEL, str(row.team_id), team=row.team_id)
    return len(rows)


_IS_EDITED = Q(due_revision__gt=F("computed_revision"))


def _is_of_older_method() -> Q:
    """Return the condition of lots whose figures are of an older method or calibration."""
    version = TeamPanel.objects.filter(team_id=OuterRef("team_id")).values("version")
    return Q(computed_revision__gt=0) & (~Q(method=METHOD) | Q(panel_version__lt=Subquery(version)))


_FIRST = (Case(When(_IS_EDITED, then=Value(0)), default=Value(1)), F("due_revision"))
"""Edited lots first, then those of an older method; within each by the revision since which they are due."""


def _not_enqueued(now: datetime) -> Q:
    """Return the condition of lots without a running job; a job enqueued too long ago counts as lost."""
    return Q(asked_at=None) | Q(asked_at__lt=now - _LOST_AFTER)


def _enqueue(developments: QuerySet[Development], *, now: datetime) -> int:
    """Enqueue the lots, whose rows are locked, in the steady queue; return how many they are."""
    rows = list(developments.only("team_id", "started_at"))  # not their figures
    Development.objects.filter(lot_id__in=[row.lot_id for row in rows]).update(asked_at=now)
    for row in rows:
        wait_s = _wait_s(row.started_at, now=now)
        later(Job.REFRESH_DEVELOPMENT, str(row.lot_id), wait_s=wait_s, queue=Queue.STEADY, team=row.team_id)
    return len(rows)


def _wait_s(started_at: datetime | None, *, now: datetime) -> float:
    """Return how long a job must wait so as not to start too soon after the last one of the lot."""
    return max(0.0, MIN_INTERVAL_S - (now - started_at).total_seconds()) if started_at else 0.0
