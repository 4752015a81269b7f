"""Makes a team's rows in another cell equal to those here, in one transaction there.

Both sides sum a hash of each row in a thousand groups; of the groups that differ the rows are named one by one, and
only those that differ are sent, and then compared. So the first pass copies everything, each later one what has changed
since. What an interrupted run has left is put right on the way. Of sessions, infusions and notes a later pass hashes
only the rows whose revisions are higher than the team's was in the pass before, and counts them all.
"""

from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from uuid import UUID

import psycopg
from psycopg.rows import TupleRow

from config.backup.checksums import FIXED, quote_name
from config.cells.tables import FORMER_LOGINS, TABLES, MovedTable

_GROUPS = 1023
"""Mask of the bits of a key's hash that name its group; groups are compared before single rows."""
_PIECE_ROWS = 20_000

Connection = psycopg.Connection[TupleRow]


@dataclass(slots=True)
class Pass:
    """What one pass did."""

    rows: int = 0
    """The team's rows, in all tables."""
    sent: int = 0
    deleted: int = 0
    revision: int = 0
    """The team's counter, up to which both sides are the same."""

    @property
    def changed(self) -> int:
        """Return how many rows it changed."""
        return self.sent + self.deleted


class DifferentError(Exception):
    """After a pass the rows are not the same."""


@contextmanager
def snapshot(source: Connection) -> Iterator[None]:
    """Read one state of the source within the block."""
    with source.transaction():
        source.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
        _fix(source)
        yield


def copy_team(source: Connection, target: Connection, team: UUID, *, after: Pass | None = None) -> Pass:
    """Make the team's rows at the target equal to those of the source's present transaction; return what was done.

    ``after`` is the pass before, of the same run. Raise DifferentError if something else writes at the target.
    """
    done, since = Pass(), after.revision if after is not None else None
    with target.transaction():
        _fix(target)
        target.execute("SELECT set_config('leafspan.copying', 'on', true)")
        target.execute("SET CONSTRAINTS ALL DEFERRED")
        _Table(FORMER_LOGINS, source, target, team).send_missing()
        tables = [_Table(table, source, target, team) for table in TABLES]
        with ThreadPoolExecutor(2) as both:
            for table in tables:
                table.compare(both, since=since)
        for table in reversed(tables):
            done.deleted += table.delete()
        for table in tables:
            done.sent += table.send()
            done.rows += table.rows
        target.execute("SET CONSTRAINTS ALL IMMEDIATE")
        if wrong := sorted(table.table.name for table in tables if not table.is_same()):
            raise DifferentError(f"not the same after copying: {', '.join(wrong)}")
    [(done.revision,)] = source.execute("SELECT revision FROM teams_team WHERE id = %s", [team]).fetchall()
    return done


def delete_copy(connection: Connection, team: UUID) -> int:
    """Delete the team's rows, and the logins that no other team has; return their number."""
    rows = 0
    with connection.transaction():
        connection.execute("SET CONSTRAINTS ALL DEFERRED")
        logins = connection.execute(
            """SELECT array_agg(user_id) FROM teams_member AS one WHERE team_id = %(team)s AND NOT EXISTS (SELECT FROM
                   teams_member AS other WHERE other.user_id = one.user_id AND other.team_id <> %(team)s)""",
            {"team": team},
        ).fetchall()[0][0]
        connection.execute("DELETE FROM tastings_paper WHERE team_id = %s", [team])
        for table in reversed(TABLES):
            if not table.of_logins:
                sql = f"DELETE FROM {table.name} WHERE {table.where}"  # noqa: S608 - our own names
                rows += connection.execute(sql.encode(), {"team": team}).rowcount
        for name in ("teams_knownplace", "teams_resetlink", "teams_emailverification"):
            connection.execute(f"DELETE FROM {name} WHERE user_id = ANY (%s)".encode(), [logins])  # noqa: S608
        connection.execute(
            """DELETE FROM teams_user AS one WHERE id = ANY (%s)
                   AND NOT EXISTS (SELECT FROM teams_auditentry WHERE who_id = one.id)""",
            [logins],
        )
    return rows


def _fix(connection: Connection) -> None:
    for statement in FIXED:
        connection.execute(statement.encode())


class _Table:
    """A team's rows of one table on both sides."""

    def __init__(self, table: MovedTable, source: Connection, target: Connection, team: UUID) -> None:
        self.table, self._source, self._target = table, source, target
        self._values = {"team": team}
        self._columns = [name for name in _columns(source, table.name) if name != table.number]
        keys = [table.expression(name) for name in table.key]
        self._key = f"{keys[0]}::text" if len(keys) == 1 else f"ROW({', '.join(keys)})::text"
        self._named = f"{keys[0]} = ANY (%(keys)s::uuid[])" if len(keys) == 1 else f"{self._key} = ANY (%(keys)s)"
        self._group = f"hashtextextended({self._key}, 1) & {_GROUPS}"
        self._hash = f"hashtextextended(ROW({', '.join(map(table.expression, self._columns))})::text, 0)"
        self._rows = f"{table.name} WHERE {table.where}"
        self.rows = 0
        self._is_empty_there = False
        self._looked_at = self._rows
        self._changed: list[str] = []
        self._gone: list[str] = []

    def compare(self, both: Executor, *, since: int | None) -> None:
        """Find the rows that the target lacks or has otherwise, and those that it has too many.

        ``since`` is the revision up to which both sides were the same. If rows below it are gone, all are compared.
        """
        is_limited = since is not None and self.table.by_revision
        self._looked_at = f"{self._rows} AND revision > {since}" if is_limited else self._rows
        own, other = both.map(self._sums, (self._source, self._target))
        groups = [group for group in own.keys() | other.keys() if own.get(group) != other.get(group)]
        ours, theirs = both.map(partial(self._hashes, groups=groups), (self._source, self._target))
        self._changed = [key for key, value in ours.items() if theirs.get(key) != value]
        self._gone = [] if self.table.stays else [key for key in theirs if key not in ours]
        self.rows = sum(count for count, _ in own.values())
        self._is_empty_there = not is_limited and not other
        if is_limited:
            self.rows, rows_there = both.map(self._count, (self._source, self._target))
            new = len(self._changed) - self._there(self._changed)
            if rows_there + new - len(self._gone) != self.rows:
                self.compare(both, since=None)

    def is_same(self) -> bool:
        """Whether the rows that were sent are the same on both sides now, and those that were deleted are gone."""
        sql = f"SELECT {self._key}, {self._hash} FROM {self._rows} AND {self._named}"  # noqa: S608
        hashes: list[dict[str, int]] = [
            dict(side.execute(sql.encode(), {**self._values, "keys": self._changed}).fetchall())
            for side in (self._source, self._target)
        ]
        return hashes[0] == hashes[1] and not self._there(self._gone)

    def _there(self, keys: Sequence[str]) -> int:
        """Return how many of these rows the target has."""
        sql = f"SELECT count(*) FROM {self._rows} AND {self._named}"  # noqa: S608
        return int(self._target.execute(sql.encode(), {**self._values, "keys": keys}).fetchall()[0][0])

    def _count(self, side: Connection) -> int:
        return int(side.execute(f"SELECT count(*) FROM {self._rows}".encode(), self._values).fetchall()[0][0])  # noqa: S608

    def delete(self) -> int:
        """Delete at the target what it has too many; return how many rows."""
        if self._gone:
            sql = f"DELETE FROM {self._rows} AND {self._named}"  # noqa: S608 - our own names, here and below
            self._target.execute(sql.encode(), {**self._values, "keys": self._gone})
        return len(self._gone)

    def send(self) -> int:
        """Send the rows that differ; return how many."""
        if self._is_empty_there and self._changed:
            self._send(f"SELECT {self._read()} FROM {self._rows}", keys=[])  # noqa: S608
        else:
            self._send_named(self._changed)
        return len(self._changed)

    def send_missing(self) -> None:
        """Send the rows whose keys the target does not have, whosever they are."""
        keys = [key for (key,) in self._source.execute(f"SELECT {self._key} FROM {self._rows}".encode(), self._values)]  # noqa: S608
        sql = f"SELECT {self._key} FROM {self.table.name} WHERE {self._named}"  # noqa: S608
        present = {key for (key,) in self._target.execute(sql.encode(), {"keys": keys})}
        self._send_named([key for key in keys if key not in present])

    def _sums(self, side: Connection) -> Mapping[int, tuple[int, str]]:
        sql = (
            f"SELECT grouped, count(*), sum(hash)::text FROM (SELECT {self._group} AS grouped,"  # noqa: S608
            f" {self._hash}::numeric AS hash FROM {self._looked_at}) AS one GROUP BY grouped"
        )
        return {group: (count, total) for group, count, total in side.execute(sql.encode(), self._values)}

    def _hashes(self, side: Connection, *, groups: Sequence[int]) -> Mapping[str, int]:
        if not groups:
            return {}
        sql = f"SELECT {self._key}, {self._hash} FROM {self._looked_at} AND {self._group} = ANY (%(groups)s)"  # noqa: S608
        return dict(side.execute(sql.encode(), {**self._values, "groups": groups}).fetchall())

    def _read(self) -> str:
        return ", ".join(map(self.table.expression, self._columns))

    def _send_named(self, keys: Sequence[str]) -> None:
        for start in range(0, len(keys), _PIECE_ROWS):
            rows = f"SELECT {self._read()} FROM {self._rows} AND {self._named}"  # noqa: S608
            self._send(rows, keys=keys[start : start + _PIECE_ROWS])

    def _send(self, rows: str, *, keys: Sequence[str]) -> None:
        """Copy the rows of a query to the target, in the place of those with the same key."""
        name, staged = self.table.name, f"staged_{self.table.name}"
        names = [quote_name(column) for column in self._columns]
        kinds, written = [], []
        for column, quoted in zip(self._columns, names, strict=True):
            of_member = self.table.is_membership(column)
            kinds.append(f"NULL::uuid AS {quoted}" if of_member else quoted)
            written.append(_MEMBERSHIP if of_member else quoted)
        others = [quoted for column, quoted in zip(self._columns, names, strict=True) if column not in self.table.key]
        replaced = ", ".join(f"{quoted} = excluded.{quoted}" for quoted in others)
        then = f"UPDATE SET {replaced}" if replaced else "NOTHING"
        self._target.execute(f"CREATE TEMP TABLE {staged} AS SELECT {', '.join(kinds)} FROM {name} LIMIT 0".encode())  # noqa: S608
        with (
            psycopg.ClientCursor(self._source).copy(
                f"COPY ({rows}) TO STDOUT".encode(), {**self._values, "keys": keys}
            ) as sent,
            self._target.cursor().copy(f"COPY {staged} FROM STDIN".encode()) as into,
        ):
            for piece in sent:
                into.write(piece)
        self._target.execute(
            f"INSERT INTO {name} ({', '.join(names)}) SELECT {', '.join(written)} FROM {staged} AS staged"  # noqa: S608
            f" ON CONFLICT ({', '.join(self.table.key)}) DO {then}".encode(),
            self._values,
        )
        self._target.execute(f"DROP TABLE {staged}".encode())


_MEMBERSHIP = "(SELECT id FROM teams_member AS one WHERE one.team_id = %(team)s AND one.user_id = staged.member_id)"


def _columns(connection: Connection, table: str) -> list[str]:
    columns = connection.execute(
        """SELECT attname::text FROM pg_attribute WHERE attrelid = %s::regclass AND attnum > 0 AND NOT attisdropped
           ORDER BY attname COLLATE "C" """,
        [table],
    )
    return [name for (name,) in columns]
