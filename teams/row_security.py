"""Row-level security: PostgreSQL shows the application's role the rows of the teams it acts for, and no others.

Queries filter by team themselves. If one forgets to, policies on every table with rows of teams
(``tastings/migrations/0011_walls.py``) still show only the rows of the teams that the transaction acts for. A
transaction that acts for no team sees no rows. Nobody can create or change a row of another team. In requests of
tasters and viewers the policies of ``tastings/migrations/0023_own_rows.py`` allow writing the member's own rows only.

A login sees its own row and what belongs to it; so does the worker. The members of its teams see its row
(``teams/migrations/0015_login_policies.py``).

Some look-ups come before the team is known, such as that of a token. Functions of the database's owner do them and
return ids only. Functions that list teams (`WORKER_ONLY`) may be called by the worker's role alone.
"""

import re
import threading
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from typing import cast
from unicodedata import normalize
from uuid import UUID

import msgspec
import psycopg
from django.conf import settings
from django.db import OperationalError, connection, connections
from psycopg.errors import InsufficientPrivilege

from teams.postgresql.base import SETTING, DatabaseWrapper, has_other_cells
from teams.postgresql.together import Statement, id_array, run_together

WORKER_ONLY = (
    "leafspan_every_team",
    "leafspan_teams_behind",
    "leafspan_teams_with_photos_to_check",
    "leafspan_forget_failures_of_nobody",
    "leafspan_delete_expired_sessions",
)
"""Functions of the database that the web server may not call."""
_NO_TEAM = UUID(int=0)
_unknown = threading.local()


def act_for(teams: Iterable[UUID]) -> None:
    """Act for these teams only, from now on, on this thread's connection."""
    _database().teams = ",".join(sorted(str(UUID(str(team))) for team in set(teams)))


def limit_changes_to(member: UUID | None) -> None:
    """Write this member's rows only, from now on, on this thread's connection; None: all rows of the teams."""
    _database().limited_to = "" if member is None else str(member)


@contextmanager
def acting_for(*teams: UUID | None) -> Iterator[None]:
    """Act for these teams only within the block; None stands for no team."""
    database = _database()
    before = database.teams, database.limited_to
    act_for(team for team in teams if team is not None)
    try:
        yield
    finally:
        database.teams, database.limited_to = before


@contextmanager
def acting_for_those_here(teams: Iterable[UUID]) -> Iterator[None]:
    """Act within the block for those of the teams that live in this cell and are not being moved."""
    with acting_for(*teams, _NO_TEAM):  # only a team that is acted for alone is refused
        yield


def act_for_login(login: UUID | None) -> None:
    """Let this login's own rows be read and written, from now on, on this thread's connection; None: nobody's."""
    _database().login = "" if login is None else str(UUID(str(login)))


@contextmanager
def acting_for_login(login: UUID | None) -> Iterator[None]:
    """Let this login's own rows be read and written only within the block."""
    database = _database()
    before = database.login
    act_for_login(login)
    try:
        yield
    finally:
        database.login = before


@contextmanager
def reading_session(key: str | None) -> Iterator[None]:
    """Allow the browser session with this key to be read and written within the block, and no other."""
    database = _database()
    before = database.session
    database.session = key if key and re.fullmatch("[a-z0-9]+", key) else ""  # it comes from a cookie
    try:
        yield
    finally:
        database.session = before


def _database() -> DatabaseWrapper:
    return cast("DatabaseWrapper", connections["default"])  # `connection` is a proxy, of another type


def work_as_owner() -> None:
    """Have this process work as the owner of the tables, who sees all teams; before it starts threads.

    For work on the whole installation: migrations, backups, the operator's commands.
    """
    _act_as("")


def work_as_worker() -> None:
    """Have this process work as the worker's role, which may also list the teams; before it starts threads."""
    _act_as(worker_role())


def _act_as(name: str) -> None:
    connections.settings["default"]["ROLE"] = name  # of the connections that are yet to be made
    _database().role = name


def team_of(kind: str, row: UUID) -> UUID | None:
    """Return the team of a row: a ``lot``, ``photo``, ``paper``, ``flight`` or ``share``; None if there is none."""
    team = _id("SELECT leafspan_team_of(%s, %s)", kind, row)
    return _noted(team) if kind == "share" else team


def run_for_token(digest: str, statement: Statement) -> list[tuple[object, ...]]:
    """Run a statement for the team of the device token with this digest, valid or not; return its rows.

    In one go: every request of a phone begins so.
    """
    team, rows = _run_for("leafspan_team_of_token(%s)", [digest], statement)
    _noted(team)
    return rows


def run_for_lot(lot: UUID, statement: Statement) -> list[tuple[object, ...]]:
    """Run a statement for the team of a lot, for no team if there is no such lot; return its rows."""
    return _run_for("leafspan_team_of('lot', %s)", [lot], statement)[1]


def _run_for(
    team_sql: str, values: Sequence[object], statement: Statement
) -> tuple[UUID | None, list[tuple[object, ...]]]:
    """Run a statement for the team that an expression with these values gives; return the team and the rows."""
    teams = f"coalesce(({team_sql})::text, '')"
    setting = f"leafspan_at_home({teams})" if has_other_cells(_database().role) else teams
    try:
        [[(team,)], rows] = run_together([(f"SELECT set_config('{SETTING}', {setting}, true)", values), statement])
    finally:
        _database().settings_have_changed()
    return UUID(str(team)) if team else None, rows


def team_of_former_token(digest: str) -> UUID | None:
    """Return the team of a device's earlier token, sent along when it signs in again; it need not be known here."""
    return _id("SELECT leafspan_team_of_token(%s)", digest)


def team_of_invitation(digest: str) -> UUID | None:
    """Return the team of the invitation with this digest, valid or not."""
    return _noted(_id("SELECT leafspan_team_of_invitation(%s)", digest))


def team_of_sign_in_code(digest: str) -> UUID | None:
    """Return the team of the sign-in code with this digest, valid or not."""
    return _noted(_id("SELECT leafspan_team_of_sign_in_code(%s)", digest))


def login_named(username: str) -> UUID | None:
    """Return the login of this name, regardless of case and form of Unicode."""
    return _login_here(_id("SELECT leafspan_login_named(%s)", normalize("NFC", username.strip())))


def login_of_reset_link(digest: str) -> UUID | None:
    """Return whose password the link with this digest sets, valid or not."""
    return _login_here(_id("SELECT leafspan_login_of_reset_link(%s)", digest))


def _login_here(login: UUID | None) -> UUID | None:
    """Return the login; beside other cells None unless one of its teams lives in this one."""
    if login is not None and settings.CELLS and not _id("SELECT leafspan_login_is_here(%s)", login):
        login = None
    return _noted(login)


def _noted(team: UUID | None) -> UUID | None:
    if team is None:
        note_unknown()
    else:
        _unknown.knows_something = True
    return team


def note_unknown() -> None:
    """Note that this thread's request named something that this cell does not know; another cell may know it."""
    _unknown.is_noted = bool(settings.CELLS)


def forget_unknown() -> bool:
    """Forget what was noted; return whether the request named something unknown and nothing known.

    A valid invitation with a new name, for example, is this cell's to answer.
    """
    is_unknown = getattr(_unknown, "is_noted", False) and not getattr(_unknown, "knows_something", False)
    _unknown.is_noted = _unknown.knows_something = False
    return is_unknown


def teams_of_login(login: UUID) -> list[UUID]:
    """Return the teams that a login is, or was, a member of."""
    return _ids("SELECT leafspan_teams_of_login(%s)", login)


def every_team() -> list[UUID]:
    """Return the ids of all teams, for work on each in turn."""
    return _ids("SELECT leafspan_every_team()")


def has_team() -> bool:
    """Whether there is any team on this server."""
    return bool(_value("SELECT leafspan_has_team()"))


def teams_with_outdated_figures(*, method: str) -> list[UUID]:
    """Return the teams with figures, panels or flights to compute, or computed by another method than this one."""
    return _ids("SELECT leafspan_teams_behind(%s)", method)


def teams_with_photos_to_check() -> list[UUID]:
    """Return the teams with complete uploads, of photos or of a logo, that no worker has checked."""
    return _ids("SELECT leafspan_teams_with_photos_to_check()")


def ids_in_use(
    ids: Collection[UUID], *, team: UUID | None = None, member: UUID | None = None
) -> dict[UUID, dict[str, bool]]:
    """Return by id and kind whether a row of any team is readable; a new row cannot have these ids.

    The ids are of records, flights, photos, triangle tests and their trials. A record is readable by a member, with
    None as the member by anybody of the team; without a team none is.
    """
    return readable_by_kind(run_together([ids_in_use_statement(ids, team=team, member=member)])[0]) if ids else {}


def ids_in_use_statement(ids: Collection[UUID], *, team: UUID | None, member: UUID | None) -> Statement:
    """Return the statement whose rows `readable_by_kind` takes; see `ids_in_use`."""
    return "SELECT kind, id, readable FROM leafspan_ids_in_use(%s::uuid[], %s, %s)", [id_array(ids), team, member]


def readable_by_kind(rows: list[tuple[object, ...]]) -> dict[UUID, dict[str, bool]]:
    """Return by id and kind whether the record is readable."""
    kinds_by_id: dict[UUID, dict[str, bool]] = {}
    for kind, row, readable in msgspec.convert(rows, list[tuple[str, UUID, bool]]):
        kinds_by_id.setdefault(row, {})[kind] = readable
    return kinds_by_id


def is_id_in_use(kind: str, row: UUID) -> bool:
    """Whether a row of this kind has the id, in whatever team."""
    return kind in ids_in_use([row]).get(row, {})


def renew_photos(team: UUID, parents: Collection[UUID]) -> None:
    """Give all photos of these sessions and lots new revisions: phones get or lose them together."""
    run_together([renew_photos_statement(team, parents)])


def renew_photos_statement(team: UUID, parents: Collection[UUID]) -> Statement:
    """Return the statement of `renew_photos`."""
    return "SELECT leafspan_renew_photos(%s, %s)", [team, list(parents)]


def delete_teamless_failures(*, before: datetime) -> int:
    """Delete old failed sign-ins of the audit log that belong to no team; return their number."""
    return int(str(_value("SELECT leafspan_forget_failures_of_nobody(%s)", before)))


def delete_expired_sessions(*, before: datetime) -> int:
    """Delete the browser sessions that ended before; return their number."""
    return int(str(_value("SELECT leafspan_delete_expired_sessions(%s)", before)))


def is_row_security_error(error: Exception) -> bool:
    """Whether the database refused a row of another team."""
    return isinstance(error.__cause__, InsufficientPrivilege)


def cell_of_team(error: BaseException | None) -> str | None:
    """Return the cell of the team that a transaction was refused for, "" while it moves; None for other errors."""
    cause = error.__cause__ if isinstance(error, OperationalError) else None
    if not isinstance(cause, psycopg.Error):
        return None
    return {"57L01": "", "57L02": cause.diag.message_detail}.get(cause.sqlstate or "")


@contextmanager
def skip_team_elsewhere() -> Iterator[None]:
    """End the block where it acts for a team that is being moved or lives in another cell, for work on every team."""
    try:
        yield
    except OperationalError as error:
        if cell_of_team(error) is None:
            raise


def role() -> str:
    """Return the name of the application's role, as which the web server acts."""
    return settings.DATABASE_ROLE


def worker_role() -> str:
    """Return the name of the worker's role: it may do what the application's role may, and list all teams."""
    return f"{settings.DATABASE_ROLE}_worker"


def _id(sql: str, *values: str | UUID) -> UUID | None:
    return cast("UUID | None", _value(sql, *values))


def _value(sql: str, *values: str | UUID | datetime) -> object:
    with connection.cursor() as cursor:
        cursor.execute(sql, values or None)
        value: object = cursor.fetchone()[0]
        return value


def _ids(sql: str, *values: str | UUID) -> list[UUID]:
    with connection.cursor() as cursor:
        cursor.execute(sql, values or None)
        return [team for (team,) in cursor.fetchall()]
