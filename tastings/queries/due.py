"""How much waits for a worker, over all teams: for the operator of the server, never shown to a team."""

from dataclasses import dataclass
from datetime import datetime

from django.db import connection


@dataclass(frozen=True, kw_only=True, slots=True)
class Due:
    """Lots whose figures are behind, the teams that have such, and since when the oldest waits [s]."""

    lots: int
    teams: int
    oldest_s: float


def waiting(*, now: datetime) -> Due:
    """Return what is due.

    A lot knows the revision of its last edit, not the moment: that is the first record of its team from this revision
    on. Each record type has an index by team and revision, so a team costs a few steps, however many lots it has due.
    The function of the database returns numbers only, since the web server may not list the teams.
    """
    with connection.cursor() as cursor:
        cursor.execute("SELECT lots, teams, oldest FROM leafspan_waiting()")
        lots, teams, oldest = cursor.fetchone()
    return Due(lots=lots, teams=teams, oldest_s=max(0.0, (now - oldest).total_seconds()) if oldest else 0.0)
