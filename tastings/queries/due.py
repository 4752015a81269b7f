"""How much waits for a worker, over all teams: for who runs the server, never shown to a team."""

from dataclasses import dataclass
from datetime import datetime

from django.db import connection

from tastings.maths.curve.development import METHOD
from tastings.queries.records import MODELS
from teams.row_security import acting_for, teams_with_outdated_figures


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
    """
    first = " UNION ALL ".join(
        f"(SELECT revision, updated_at FROM {model._meta.db_table}"  # noqa: S608 - the tables' names are our own
        " WHERE team_id = due.team_id AND revision >= due.first ORDER BY revision LIMIT 1)"
        for model in MODELS.values()
    )
    with acting_for(*teams_with_outdated_figures(method=METHOD)), connection.cursor() as cursor:
        cursor.execute(
            "WITH due AS (SELECT team_id, min(due_revision) AS first, count(*) AS lots FROM tastings_development"  # noqa: S608
            "   WHERE due_revision > computed_revision GROUP BY team_id)"
            " SELECT coalesce(sum(lots), 0), count(*), min(since.updated_at) FROM due LEFT JOIN LATERAL"
            f"   (SELECT updated_at FROM ({first}) AS found ORDER BY revision LIMIT 1) AS since ON true"
        )
        lots, teams, oldest = cursor.fetchone()
    return Due(lots=int(lots), teams=teams, oldest_s=max(0.0, (now - oldest).total_seconds()) if oldest else 0.0)
