"""Marking lots whose figures are behind, and asking for the jobs that bring them up to date.

A lot that was edited is asked for at once, in the queue that workers empty first; so few of a team at a time that a
flood of one team's edits never stands before another's single tasting. What goes beyond that, and lots whose figures
are of an older method, are asked for in the other queue, a few of each team at a time: whoever ends one job asks for
the team's next, so teams take turns. The timetable begins that for each team, and takes up what a lost message left.
"""

from collections import Counter
from collections.abc import Collection
from datetime import datetime, timedelta
from random import random
from uuid import UUID

from django.db.models import Case, F, OuterRef, Q, QuerySet, Subquery, Value, When, Window
from django.db.models.functions import RowNumber

from tastings.jobs import Job, later
from tastings.maths.curve.development import METHOD
from tastings.models import Development, TeamPanel
from tastings.queues import Queue

GATHER_S = 0.25
"""So long an asked job waits for more edits of the same moment."""
APART_S = 1.0
"""Two runs for one lot start at least so far apart: ten edits in a second cost one or two runs."""
STEADY_AT_A_TIME = 8
"""So many lots of one team are under way at a time, as far as nobody waits for them. More workers than that divide
their time among teams."""
FRESH_AT_A_TIME = 8
"""So many more as soon as they are edited."""
ALL_AT_A_TIME = 400
"""So many lots of all teams may be under way before the timetable begins with another team: few enough that none waits
in the queue until it is taken for lost."""
_FORGOTTEN = timedelta(seconds=30)
_PANEL_APART = timedelta(seconds=60)


def mark_due(team: UUID, lots: Collection[UUID], *, revision: int, now: datetime) -> None:
    """Mark the lots in the present transaction and ask for jobs, as many as the team has room for."""
    if not lots:
        return
    Development.objects.bulk_create(
        [Development(lot_id=lot, team_id=team, due_revision=revision) for lot in sorted(lots)],
        update_conflicts=True,
        unique_fields=["lot"],
        update_fields=["due_revision"],
    )
    edited = Q(due_revision__gt=F("computed_revision"))  # an index knows these
    under_way = Development.objects.filter(edited, team_id=team, asked_at__gte=now - _FORGOTTEN).count()
    room = STEADY_AT_A_TIME + FRESH_AT_A_TIME - under_way
    if room > 0:
        unasked = Development.objects.filter(_unasked(now), lot_id__in=lots).select_for_update().order_by("lot_id")
        _ask(unasked[:room], queue=Queue.FRESH, gather_s=GATHER_S, now=now)


def ask_more(team: UUID, *, now: datetime) -> int:
    """Ask for the team's next lots that are behind, as many as it has room for; return how many."""
    of_team = Development.objects.filter(team_id=team)
    room = STEADY_AT_A_TIME - of_team.filter(asked_at__gte=now - _FORGOTTEN).count()
    if room <= 0:
        return 0
    waiting = of_team.filter(_behind(), _unasked(now)).order_by(*_FIRST)
    return _ask(waiting.select_for_update(skip_locked=True)[:room], queue=Queue.STEADY, now=now)


def ask_due(*, now: datetime) -> int:
    """Ask for lots that are behind and have no job under way, so that each team has its few; return how many."""
    under_way = Counter(Development.objects.filter(asked_at__gte=now - _FORGOTTEN).values_list("team_id", flat=True))
    room = ALL_AT_A_TIME - under_way.total()
    if room <= 0:
        return 0
    turn = Window(RowNumber(), partition_by="team_id", order_by=_FIRST)
    waiting = Development.objects.filter(_behind(), _unasked(now)).annotate(turn=turn)
    found = [
        (turn + under_way[team], random(), lot)  # noqa: S311 - which of equals comes first
        for lot, team, turn in waiting.filter(turn__lte=STEADY_AT_A_TIME).values_list("lot_id", "team_id", "turn")
        if turn + under_way[team] <= STEADY_AT_A_TIME
    ]
    chosen = Development.objects.filter(_unasked(now), lot_id__in=[lot for *_, lot in sorted(found)[:room]])
    return _ask(chosen.select_for_update(skip_locked=True).order_by("lot_id"), queue=Queue.STEADY, now=now)


def ask_due_panels(*, now: datetime) -> int:
    """Ask for every team with new figures to learn from, each at most once a minute; return how many."""
    behind = Q(due_revision__gt=F("computed_revision")) | (Q(computed_revision__gt=0) & ~Q(method=METHOD))
    free = Q(asked_at=None) | Q(asked_at__lt=now - _PANEL_APART)
    rested = Q(started_at=None) | Q(started_at__lt=now - _PANEL_APART)
    rows = list(TeamPanel.objects.filter(behind, free, rested).select_for_update().order_by("team_id"))
    TeamPanel.objects.filter(team_id__in=[row.team_id for row in rows]).update(asked_at=now)
    for row in rows:
        later(Job.REFRESH_PANEL, str(row.team_id), team=row.team_id)
    return len(rows)


def _behind() -> Q:
    """Return the condition of lots that were edited since, or whose figures are of an older method or calibration."""
    version = TeamPanel.objects.filter(team_id=OuterRef("team_id")).values("version")
    return Q(due_revision__gt=F("computed_revision")) | Q(computed_revision__gt=0) & (
        ~Q(method=METHOD) | Q(panel_version__lt=Subquery(version))
    )


_FIRST = (
    Case(When(due_revision__gt=F("computed_revision"), then=Value(0)), default=Value(1)),
    F("due_revision"),
)
"""Edited lots before those that only a newer method would change, the longest edited first."""


def _unasked(now: datetime) -> Q:
    """Return the condition of lots without a job under way; one asked for too long ago is taken for lost."""
    return Q(asked_at=None) | Q(asked_at__lt=now - _FORGOTTEN)


def _ask(developments: QuerySet[Development], *, queue: Queue, now: datetime, gather_s: float = 0.0) -> int:
    """Ask for the lots, whose rows are locked; return how many they are."""
    rows = list(developments.only("team_id", "started_at"))  # not their figures
    Development.objects.filter(lot_id__in=[row.lot_id for row in rows]).update(asked_at=now)
    for row in rows:
        since_s = (now - row.started_at).total_seconds() if row.started_at else APART_S
        wait_s = max(gather_s, APART_S - since_s)
        later(Job.REFRESH_DEVELOPMENT, str(row.lot_id), wait_s=wait_s, queue=queue, team=row.team_id)
    return len(rows)
