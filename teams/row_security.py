"""The second wall: PostgreSQL shows the application's role the rows of the teams it acts for, and no others.

Queries filter by team themselves; that is the first wall. Should one forget to, policies on every table that holds a
team's rows (``tastings/migrations/0011_walls.py``) leave out what is not of the teams that the present transaction acts
for. Nobody acted for means no rows, and a row of another team can neither be written nor changed.

Who calls is found out before a team is known. That is left to a few functions of the owner's, which return ids alone.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from typing import cast
from uuid import UUID

from django.conf import settings
from django.db import connection, connections
from psycopg.errors import InsufficientPrivilege

from teams.postgresql.base import DatabaseWrapper


def act_for(teams: Iterable[UUID]) -> None:
    """From here on act for these teams, and for no others, on this thread's connection."""
    _database().teams = ",".join(sorted(str(UUID(str(team))) for team in set(teams)))


@contextmanager
def acting_for(*teams: UUID | None) -> Iterator[None]:
    """Act for these teams, and for no others, within the block; None stands for no team."""
    held = _database()
    before = held.teams
    act_for(team for team in teams if team is not None)
    try:
        yield
    finally:
        held.teams = before


def _database() -> DatabaseWrapper:
    return cast("DatabaseWrapper", connections["default"])  # `connection` stands for it and cannot be kept


def work_as_owner() -> None:
    """Have this process work as the owner of the tables, for whom the walls do not stand.

    For what looks after the whole installation: migrations, backups, the operator's commands.
    """
    connections.settings["default"]["OPTIONS"].pop("assume_role", None)


def team_of(kind: str, row: UUID) -> UUID | None:
    """Return whose a row is: a ``lot``, ``photo``, ``paper``, ``flight`` or ``share``; None if there is none."""
    return _one("SELECT leafspan_team_of(%s, %s)", kind, row)


def team_of_token(digest: str) -> UUID | None:
    """Return for which team the device token with this digest is, whether or not it still holds."""
    return _one("SELECT leafspan_team_of_token(%s)", digest)


def team_of_invitation(digest: str) -> UUID | None:
    """Return into which team the invitation with this digest leads, whether or not it still holds."""
    return _one("SELECT leafspan_team_of_invitation(%s)", digest)


def teams_of_login(login: UUID) -> list[UUID]:
    """Return the teams in which a login has, or had, a place."""
    return _several("SELECT leafspan_teams_of_login(%s)", login)


def every_team() -> list[UUID]:
    """Return the ids of all teams, for what is done to each in its turn."""
    return _several("SELECT leafspan_every_team()")


def teams_with_outdated_figures(*, method: str) -> list[UUID]:
    """Return the teams with figures, panels or flights that are behind or of another method than this."""
    return _several("SELECT leafspan_teams_behind(%s)", method)


def teams_with_photos_to_check() -> list[UUID]:
    """Return the teams with complete uploads that no worker has checked."""
    return _several("SELECT leafspan_teams_with_photos_to_check()")


def ids_in_use(ids: Mapping[str, Collection[UUID]]) -> set[tuple[str, UUID]]:
    """Return which ids are in use, in whatever team: a new row cannot have them.

    Parameters
    ----------
    ids
        By kind: the record types, and ``triangle_test``, ``trial``, ``flight``.
    """
    pairs = [(kind, row) for kind, rows in ids.items() for row in rows]
    if not pairs:
        return set()
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT * FROM leafspan_taken(%s::text[], %s::uuid[])", [[k for k, _ in pairs], [i for _, i in pairs]]
        )
        return {(kind, row) for kind, row in cursor.fetchall()}


def is_id_in_use(kind: str, row: UUID) -> bool:
    """Whether the id is in use, in whatever team; kinds as in `taken`."""
    return bool(ids_in_use({kind: [row]}))


def delete_teamless_failures(*, before: datetime) -> int:
    """Delete entries of the audit log that are no team's and older than that; return how many there were."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT leafspan_forget_failures_of_nobody(%s)", [before])
        return int(cursor.fetchone()[0])


def is_row_security_error(error: Exception) -> bool:
    """Whether the database turned a row down because it is another team's, or would be."""
    return isinstance(error.__cause__, InsufficientPrivilege)


def role() -> str:
    """Return the name of the application's role."""
    return settings.DATABASE_ROLE


def _one(question: str, *about: str | UUID) -> UUID | None:
    with connection.cursor() as cursor:
        cursor.execute(question, about)
        return cast("UUID | None", cursor.fetchone()[0])


def _several(question: str, *about: str | UUID) -> list[UUID]:
    with connection.cursor() as cursor:
        cursor.execute(question, about or None)
        return [team for (team,) in cursor.fetchall()]
