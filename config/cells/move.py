"""Moves a team to another cell while its phones go on.

Where a team lives is decided by one commit in the cell that it leaves: the row in ``teams_movedteam``. Before, the rows
at the target are a copy that nobody can act for; after, those here are. While the last changes are copied, this process
holds the team's lock alone, and requests of the team are asked to come back. The lock ends with this process, however
it ends: then the team goes on where it was. The command can be run again at any time and goes on from what there is.
"""

import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from uuid import UUID

import psycopg
from django.conf import settings
from django.db import connection
from psycopg.errors import LockNotAvailable, UniqueViolation

from config.cells.copying import Connection, Pass, copy_team, delete_copy, snapshot
from config.cells.photos import PhotoMove, delete_photos
from config.cells.sessions import SessionMove
from config.web.cells import FROM, NAME, signed_origin
from tastings.models.photo_files import PhotoStore

MOST_PASSES, FEW_ROWS = 8, 200
"""How often changes are copied before the freeze, at most, and how many may be left for it."""
_WAIT_FOR_REQUESTS = "15s"
_DECIDE = "INSERT INTO teams_movedteam (team_id, cell, since) VALUES (%s, %s, now())"

LogLine = Callable[[str], object]


class MoveError(Exception):
    """The team was not moved, or moving it was interrupted: it lives in one of the two cells."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetCell:
    """The cell to which a team moves: its name, the URL of its database as the owner's login, its photos."""

    cell: str
    database: str
    photos: PhotoStore


@dataclass(slots=True, kw_only=True)
class Moved:
    """What was moved."""

    rows: int = 0
    copy_s: float = 0.0
    """How long the passes before the freeze took."""
    sent: int = 0
    """Rows that those passes sent."""
    frozen_s: float = 0.0


def move_team(
    team: UUID, target: TargetCell, photos: PhotoStore, *, log: LogLine, despite_missing: bool = False
) -> Moved:
    """Move a team and return figures; raise MoveError if it stays. ``despite_missing``: also if photos are missing."""
    with _connected(_own_database()) as local, _connected(target.database) as remote:
        _check_same_version(local, remote)
        place = _place(local, team)
        if place == target.cell:
            log("the team lives there already; the rest is finished")
            _open(remote, team)
            return Moved()
        if place is not None:
            raise MoveError(f"the team lives in the cell {place}: move it from there")
        if _lives_in(remote, team):
            raise MoveError(
                "the team lives in both cells: if this one was restored from before it moved, --lives-there"
            )
        _check_people(local, remote, team)
        _close(remote, team)
        try:
            move = PhotoMove(photos, target.photos, team)
            return _move(local, remote, team, target, move, log=log, despite_missing=despite_missing)
        except (LockNotAvailable, psycopg.OperationalError) as error:
            raise MoveError(f"run it again: {error}") from error


def note_moved(team: UUID, target: TargetCell) -> None:
    """Note that a team lives in the other cell, as after a restore of an older backup; raise MoveError if not."""
    with _connected(_own_database()) as local, _connected(target.database) as remote:
        if not _lives_in(remote, team):
            raise MoveError(f"the team does not live in the cell {target.cell}")
        local.execute(_DECIDE, [team, target.cell])


def delete_left_copy(team: UUID, target: TargetCell, photos: PhotoStore, *, log: LogLine) -> None:
    """Delete what a team has left here, once it lives in the other cell; raise MoveError if it does not."""
    with _connected(_own_database()) as local, _connected(target.database) as remote:
        if _place(local, team) != target.cell or not _lives_in(remote, team):
            raise MoveError(f"the team does not live in the cell {target.cell}")
        delete_photos(photos, local, team)
        log(f"{delete_copy(local, team)} rows deleted")


def _move(  # noqa: PLR0913 - both sides, and what is moved
    local: Connection,
    remote: Connection,
    team: UUID,
    target: TargetCell,
    photos: PhotoMove,
    *,
    log: LogLine,
    despite_missing: bool,
) -> Moved:
    moved, began, done = Moved(), time.monotonic(), None
    sessions = SessionMove(local, remote, team)
    for number in range(1, MOST_PASSES + 1):
        done = _pass(local, remote, team, photos, after=done)
        log(f"pass {number}: {done.sent} rows sent, {done.deleted} deleted, of {done.rows}")
        moved.sent += done.sent
        if done.changed <= FEW_ROWS:
            break
    for side in (local, remote):
        sessions.keys(side)  # so that few have to be read in the freeze
    moved.copy_s, began = time.monotonic() - began, time.monotonic()
    with _frozen(local, team):
        done = _pass(local, remote, team, photos, after=done)
        if photos.missing and not despite_missing:
            raise MoveError(f"{len(photos.missing)} photos are not in the store here, such as {min(photos.missing)}")
        keys = sessions.keys(local)
        sessions.copy(keys)
        # the commit that decides; on the connection that holds the lock, so it fails if the lock is gone
        with local.transaction():
            sessions.delete(keys)
            local.execute(_DECIDE, [team, target.cell])
        _open(remote, team)
        moved.frozen_s = time.monotonic() - began
    moved.rows = done.rows
    log(f"frozen for {moved.frozen_s:.2f} s: {done.changed} rows; {done.rows} rows are the same on both sides")
    return moved


def _pass(local: Connection, remote: Connection, team: UUID, photos: PhotoMove, *, after: Pass | None) -> Pass:
    """Copy photos and rows as they stand now."""
    with snapshot(local):
        photos.copy(local)
        try:
            return copy_team(local, remote, team, after=after)
        except UniqueViolation:  # two rows have changed names with each other: begin anew
            delete_copy(remote, team)
            return copy_team(local, remote, team)


@contextmanager
def _frozen(local: Connection, team: UUID) -> Iterator[None]:
    """Hold the team alone: wait for its running transactions, and have those that begin refused."""
    key = f"leafspan.move {team}"
    local.execute(f"SET lock_timeout = '{_WAIT_FOR_REQUESTS}'")
    local.execute("SELECT pg_advisory_lock(hashtextextended(%s, 0))", [key])
    try:
        yield
    finally:
        if not local.closed:
            local.execute("SELECT pg_advisory_unlock(hashtextextended(%s, 0))", [key])


def _place(side: Connection, team: UUID) -> str | None:
    """Return the cell in which a team lives as one side says; None if it lives on that side."""
    row = side.execute("SELECT cell FROM teams_movedteam WHERE team_id = %s", [team]).fetchone()
    return str(row[0]) if row else None


def _lives_in(side: Connection, team: UUID) -> bool:
    is_known = side.execute("SELECT FROM teams_team WHERE id = %s", [team]).rowcount == 1
    return is_known and _place(side, team) is None


def _close(remote: Connection, team: UUID) -> None:
    """Have the target act for the team only once it is opened."""
    remote.execute(
        "INSERT INTO teams_movedteam (team_id, cell, since) VALUES (%s, %s, now())"
        " ON CONFLICT (team_id) DO UPDATE SET cell = excluded.cell",
        [team, settings.CELL],
    )


def _open(remote: Connection, team: UUID) -> None:
    remote.execute("DELETE FROM teams_movedteam WHERE team_id = %s", [team])


def _own_database() -> str:
    """Return how to reach this cell's database."""
    return psycopg.conninfo.make_conninfo(
        **{name: value for name, value in connection.get_connection_params().items() if name in _CONNINFO}
    )


_CONNINFO = frozenset(("dbname", "host", "port", "user", "password", "sslmode", "options"))


@contextmanager
def _connected(database: str) -> Iterator[Connection]:
    """Connect as the owner; what a commit says is on the disk when it returns."""
    try:
        opened = psycopg.connect(database, autocommit=True, application_name="leafspan move_team")
    except psycopg.OperationalError as error:
        raise MoveError(f"a database cannot be reached: {error}") from error
    with opened:
        yield opened


def check_cell(cell: str) -> None:
    """Raise MoveError unless the cell answers under its name, with the same key as this one."""
    if cell not in settings.CELLS:
        raise MoveError(f"LEAFSPAN_CELLS names no other cell {cell}")
    request = urllib.request.Request(  # noqa: S310 - an address of the settings
        f"{settings.CELLS[cell]}/health/live", headers={FROM: signed_origin("127.0.0.1")}
    )
    try:
        with urllib.request.urlopen(request, timeout=10) as answer:  # noqa: S310
            name = answer.headers.get(NAME)
    except OSError as error:
        raise MoveError(f"the cell {cell} does not answer: {error}") from error
    if name != cell:
        raise MoveError(f"{settings.CELLS[cell]} is not the cell {cell}, or has another LEAFSPAN_SECRET_KEY")


def _check_same_version(local: Connection, remote: Connection) -> None:
    ours, theirs = (
        {tuple(row) for row in side.execute("SELECT app, name FROM django_migrations").fetchall()}
        for side in (local, remote)
    )
    if ours != theirs:
        raise MoveError(f"the cells are not of one version: {min(ours ^ theirs)}")


def _check_people(local: Connection, remote: Connection, team: UUID) -> None:
    """Raise MoveError if someone of the team is in another team too, or a name is another's there."""
    shared = local.execute(
        """SELECT username FROM teams_user WHERE id IN (SELECT one.user_id FROM teams_member AS one
               JOIN teams_member AS other USING (user_id) WHERE one.team_id = %(team)s AND one.left_at IS NULL
               AND other.team_id <> %(team)s AND other.left_at IS NULL
               AND NOT EXISTS (SELECT FROM teams_movedteam AS moved WHERE moved.team_id = other.team_id))
           ORDER BY username""",
        {"team": team},
    ).fetchall()
    if shared:
        raise MoveError(f"{shared[0][0]} is in another team here as well, and a login lives in one cell")
    names = local.execute(
        "SELECT id, lower(username) FROM teams_user WHERE id IN (SELECT user_id FROM teams_member WHERE team_id = %s)",
        [team],
    ).fetchall()
    taken = remote.execute(
        "SELECT id, lower(username) FROM teams_user WHERE lower(username) = ANY (%s)", [[name for _, name in names]]
    ).fetchall()
    if others := sorted(name for login, name in taken if (login, name) not in set(names)):
        raise MoveError(f"the name {others[0]} is somebody else's in the other cell")
