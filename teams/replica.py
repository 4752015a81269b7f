"""Reads that a replica may answer: a copy of the database that PostgreSQL keeps by streaming replication.

A replica lags behind the primary, by milliseconds or, when it has trouble, by hours. So each read names a state: a
value that changes whenever what is read may have changed, such as the team's counter. It is read on the primary, then
on the replica. The replica answers only when both are equal, otherwise the primary does. So every answer is exactly
that of the primary, with all that the caller has written and seen before.

State and rows are read in one snapshot, in a transaction that is read-only: a write there is an error.
"""

import logging
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from typing import TypeVar, cast
from uuid import UUID

import dj_database_url
from django.conf import settings
from django.core.signals import request_finished, request_started
from django.db import DEFAULT_DB_ALIAS, InterfaceError, OperationalError, ProgrammingError, connections, transaction
from django.db.utils import ConnectionHandler
from prometheus_client import Counter

from teams.errors import NotFound
from teams.postgresql.base import DatabaseWrapper
from teams.queries.people import revisions_of
from teams.row_security import cell_of_team

LEFT_ALONE_S = 5.0
"""For how long a replica that failed is not asked again. [s]"""
READS = Counter(
    "leafspan_replica_reads", "Reads that a replica may answer, by who did", ("answered_by",), registry=None
)
_CONNECTION = {"connect_timeout": 2, "tcp_user_timeout": 3000}
"""Timeouts for a server that is gone. [s, ms]"""
_SNAPSHOT = "SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY"
_log = logging.getLogger(__name__)
_Answer = TypeVar("_Answer")


class _NotSame(Exception):  # noqa: N818 - reads as what happened
    """The replica is in another state than the primary."""


def read_from_replica(read: Callable[[], _Answer], *, state: Callable[[], object]) -> _Answer:
    """Return what ``read`` returns, from the replica if it is in the primary's state, else from the primary.

    Both functions may be called twice and only read. ``state`` is a value that changes whenever what is read may have
    changed. Within a transaction the primary answers, since a replica cannot see what was not committed; so it does
    without ``DATABASE_REPLICA_URL``.
    """
    if not settings.DATABASE_REPLICA_URL or connections[DEFAULT_DB_ALIAS].in_atomic_block:
        return read()
    replica = _replica_at(settings.DATABASE_REPLICA_URL)
    if not replica.is_left_alone():
        primary_state = state()
        try:
            with replica.in_place_of_primary():
                replica.check_state(state, primary_state)
                answer = read()
        except _NotSame:
            pass
        except (OperationalError, InterfaceError, ProgrammingError) as error:  # the last: a migration is not there yet
            if cell_of_team(error) is None:  # else a team has come back from another cell, which is not copied yet
                replica.leave_alone(error)
        else:
            READS.labels("replica").inc()
            return answer
    READS.labels("primary").inc()
    return read()


def counter_of(team: UUID) -> Callable[[], object]:
    """Return a function that reads the team's counter, the state of everything that has a revision."""
    return lambda: revisions_of([team])


class _Replica:
    """One replica, as a process sees it; each thread has a connection of its own."""

    def __init__(self, url: str) -> None:
        database = dj_database_url.parse(url, "teams.postgresql", conn_max_age=60, conn_health_checks=True)
        options = {**_CONNECTION, **database.get("OPTIONS", {})}
        disables = settings.DATABASES[DEFAULT_DB_ALIAS]["DISABLE_SERVER_SIDE_CURSORS"]
        self._connections = ConnectionHandler(
            {DEFAULT_DB_ALIAS: {**database, "OPTIONS": options, "DISABLE_SERVER_SIDE_CURSORS": disables}}
        )
        self._ask_again_at = 0.0
        for signal in (request_started, request_finished):
            signal.connect(self._close_old, weak=False)

    def is_left_alone(self) -> bool:
        """Whether it failed a moment ago."""
        return time.monotonic() < self._ask_again_at

    def leave_alone(self, error: Exception) -> None:
        """Ask it again in a few seconds."""
        self._ask_again_at = time.monotonic() + LEFT_ALONE_S
        self._connections[DEFAULT_DB_ALIAS].close()
        _log.warning("the replica failed, the primary answers: %s", str(error).strip())

    @contextmanager
    def in_place_of_primary(self) -> Iterator[None]:
        """Have all that this thread asks the database go to the replica, as the same role and for the same teams."""
        primary = cast("DatabaseWrapper", connections[DEFAULT_DB_ALIAS])
        replica = cast("DatabaseWrapper", self._connections[DEFAULT_DB_ALIAS])
        replica.act_as(primary)
        connections[DEFAULT_DB_ALIAS] = replica
        try:
            with transaction.atomic():
                with replica.cursor() as cursor:
                    cursor.execute(_SNAPSHOT)
                yield
        finally:
            connections[DEFAULT_DB_ALIAS] = primary

    @staticmethod
    def check_state(state: Callable[[], object], primary_state: object) -> None:
        """Raise _NotSame unless the replica is in the state wanted; one without the row asked about is not."""
        try:
            replica_state = state()
        except NotFound as error:
            raise _NotSame from error
        if replica_state != primary_state:
            raise _NotSame

    def _close_old(self, **_: object) -> None:
        for connection in self._connections.all(initialized_only=True):
            connection.close_if_unusable_or_obsolete()


@cache
def _replica_at(url: str) -> _Replica:
    return _Replica(url)
