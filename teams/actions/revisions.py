"""The team's revision counter; phones compare it with their cursor.

Writers of one team take turns by the lock on its row, so revisions are in the order of commits. Take it first: a row
that phones pull takes its revision under this lock, and two orders of locking can block each other.
"""

from typing import TypeVar
from uuid import UUID

from django.db.models import F, QuerySet

from teams.models import PullOnly, Team

_Row = TypeVar("_Row", bound=PullOnly)


def lock_team(team: UUID) -> None:
    """Lock the team's row until the transaction ends."""
    Team.objects.select_for_update(no_key=True).get(id=team)


def next_revision(team: UUID) -> int:
    """Lock the team's row until the transaction ends and return the next revision."""
    lock_team(team)
    Team.objects.filter(id=team).update(revision=F("revision") + 1)
    return Team.objects.values_list("revision", flat=True).get(id=team)


def renew(rows: QuerySet[_Row]) -> None:
    """Give rows new revisions for a change that stands in another table, so that phones pull them again."""
    rows.update(revision=F("revision") + 1)  # the trigger takes the next one of the team instead
