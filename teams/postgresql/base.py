"""Sets in each transaction: role, teams, the login whose rows it may write, the login and session it may read.

The role and the settings ``leafspan.teams``, ``leafspan.limited_to``, ``leafspan.login`` and ``leafspan.session``,
which the policies of the database read, are local to one transaction: a connection that is used again, by us or by
others of a transaction pooler, carries nothing along. They are sent in front of the first statement of a transaction,
in the same message or pipeline: they cost no round trip. Outside a transaction block these are a transaction of their
own, so there they are sent in front of every statement.
"""

import select
from collections.abc import Callable, Iterable, Mapping, Sequence

import psycopg
from django.conf import settings as django_settings
from django.db import DEFAULT_DB_ALIAS, DatabaseError, transaction
from django.db.backends.postgresql import base
from django.db.backends.postgresql.psycopg_any import register_tzloader
from django.db.backends.utils import CursorWrapper
from psycopg.pq import PipelineStatus, TransactionStatus

SETTING, LIMIT_SETTING = "leafspan.teams", "leafspan.limited_to"
LOGIN_SETTING, SESSION_SETTING = "leafspan.login", "leafspan.session"
Statement = tuple[str, Sequence[object] | Mapping[str, object]]
"""One command and its values."""
_CANNOT_GO_ON = (TransactionStatus.INERROR, TransactionStatus.UNKNOWN)
_WITHOUT_ROWS = ("SET ", "SAVEPOINT ", "RELEASE ", "ROLLBACK ")
"""Statements that read no rows. Some must be the first of a transaction, or work where others fail."""


class DatabaseWrapper(base.DatabaseWrapper):
    """A connection that acts as a role and for some teams, at first for none."""

    def __init__(self, settings_dict: dict[str, object], alias: str = DEFAULT_DB_ALIAS) -> None:
        super().__init__(settings_dict, alias)
        self.role: str = self.settings_dict.get("ROLE", "")
        """The role to act as; empty for the login's own rights."""
        self.teams = ""
        """The ids of the teams acted for, joined by commas."""
        self.limited_to = ""
        """The id of the member whose rows alone are written; empty when all rows of the teams are."""
        self.login = ""
        """The id of the login whose own rows may be read and written."""
        self.session = ""
        """The key of the browser session that may be read and written; small letters and digits."""
        self._in_force: str | None = _AT_FIRST
        """The statement that made the settings of the present transaction; None when they are not known.

        Outside a transaction block always `_AT_FIRST`.
        """
        self.execute_wrappers.append(self._with_settings)

    def act_as(self, other: "DatabaseWrapper") -> None:
        """Act as the same role, for the same teams, login and session as another connection."""
        self.role, self.teams, self.limited_to = other.role, other.teams, other.limited_to
        self.login, self.session = other.login, other.session

    def is_usable(self) -> bool:
        """Whether a statement can be sent. Django asks once in a request, and tries one; this looks at the socket.

        What the server sends unasked is that it ends the connection.
        """
        if self.connection is None or self.connection.info.transaction_status in _CANNOT_GO_ON:
            return False
        unasked = select.poll()
        unasked.register(self.connection.fileno(), select.POLLIN)
        return not unasked.poll(0)

    def settings_have_changed(self) -> None:
        """Note that a statement of the present transaction has set some of them."""
        if not self.autocommit:
            self._in_force = None

    def run_together(self, statements: Iterable[Statement]) -> list[list[tuple[object, ...]]]:
        """Send statements in one go, the settings in front; return the rows of each.

        The server keeps their plans by their text as long as the connection lasts: planning often takes longer than
        running. Outside a transaction block they are a transaction of their own.
        """
        self.cursor().close()  # connects, or connects again
        cursors = []
        try:
            with self.wrap_database_errors, self.connection.pipeline():
                for sql, values in statements:
                    cursor = psycopg.Cursor(self.connection)
                    cursors.append(self._prepare_cursor(cursor))  # type: ignore[attr-defined]  # as below
                    cursors[-1].execute(sql, values)
        except DatabaseError:
            self._forget_prepared()
            raise
        finally:
            if self.autocommit:
                self._in_force = _AT_FIRST
        return [cursor.fetchall() if cursor.description else [] for cursor in cursors]

    def _forget_prepared(self) -> None:
        """Prepare statements anew: the driver, but not the server, knows those that were sent after one that failed.

        The driver forgets them with each transaction that is rolled back, so where none is, an empty one is.
        """
        if self.connection.info.transaction_status == TransactionStatus.IDLE:
            self.connection.execute("BEGIN")
            self.connection.rollback()

    def get_new_connection(self, conn_params: dict[str, object]) -> psycopg.Connection:
        """Connect; whichever cursor reads times gives them as Django does."""
        connection: psycopg.Connection = super().get_new_connection(conn_params)
        register_tzloader(self.timezone, connection)
        return connection

    def _with_settings(
        self,
        execute: Callable[..., object],
        sql: object,
        params: object,
        many: bool,  # noqa: FBT001 - as Django calls it
        context: Mapping[str, object],
    ) -> object:
        """Run a statement in the role and for the teams acted for."""
        settings = _settings_sql(
            role=self.role, teams=self.teams, limited_to=self.limited_to, login=self.login, session=self.session
        )
        autocommit = self.autocommit
        if settings == self._in_force or (isinstance(sql, str) and sql.startswith(_WITHOUT_ROWS)):
            return execute(sql, params, many, context)
        if self.connection.info.pipeline_status == PipelineStatus.ON:
            for setting in settings.split("; "):
                psycopg.Cursor(self.connection).execute(setting, prepare=False)
            self._in_force = settings
            return execute(sql, params, many, context)
        wrapper = context["cursor"]
        cursor = wrapper.cursor if isinstance(wrapper, CursorWrapper) else None
        if many or not isinstance(sql, str) or not isinstance(cursor, psycopg.ClientCursor):
            if autocommit:
                with transaction.atomic(using=self.alias):
                    return self._with_settings(execute, sql, params, many, context)
            with self.connection.cursor() as before:
                before.execute(settings)
            self._in_force = settings
            return execute(sql, params, many, context)
        result = execute(f"{settings}; {sql}", params, many, context)
        for _ in range(settings.count(";") + 1):  # from the results of the settings to that of the statement
            cursor.nextset()
        if not autocommit:
            self._in_force = settings
        return result

    def _set_autocommit(self, autocommit: bool) -> None:  # noqa: FBT001 - as Django has it
        super()._set_autocommit(autocommit)  # type: ignore[misc]  # the stubs leave it out
        self._in_force = _AT_FIRST

    def _commit(self) -> None:
        super()._commit()  # type: ignore[misc]  # the stubs leave it out
        self._in_force = _AT_FIRST

    def _rollback(self) -> None:
        super()._rollback()  # type: ignore[misc]  # the stubs leave it out
        self._in_force = _AT_FIRST

    def _savepoint_rollback(self, sid: str) -> None:
        super()._savepoint_rollback(sid)  # type: ignore[misc]  # the stubs leave it out
        self._in_force = None  # the settings are what they were at the savepoint


def _settings_sql(*, role: str, teams: str, limited_to: str, login: str, session: str) -> str:
    """Return what sets all five; none of the values can hold a quote.

    Beside other cells, the teams are set by a second statement, which the role runs: it refuses a team that lives in
    another cell or is being moved, and leaves it out of several.
    """
    asks_home = bool(teams) and has_other_cells(role)
    at_once = "" if asks_home else teams
    return (
        f"SELECT set_config('role', '{role or 'none'}', true), set_config('{SETTING}', '{at_once}', true),"
        f" set_config('{LIMIT_SETTING}', '{limited_to}', true), set_config('{LOGIN_SETTING}', '{login}', true),"
        f" set_config('{SESSION_SETTING}', '{session}', true)"
    ) + (f"; SELECT set_config('{SETTING}', leafspan_at_home('{teams}'), true)" if asks_home else "")


def has_other_cells(role: str) -> bool:
    """Whether who acts as this role is asked in which cell a team lives; the owner, without one, is not."""
    return bool(role and django_settings.CELLS)


_AT_FIRST = _settings_sql(role="", teams="", limited_to="", login="", session="")
"""What is in force when a transaction begins: the connection's own rights, no team, no login, no browser session."""
