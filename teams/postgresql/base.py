"""Sets, in each transaction, for which teams it acts.

The setting ``leafspan.teams``, which the policies of the database read, is local to one transaction, so that a
connection that is used again carries nothing along. It is sent in front of the first statement of a transaction, in the
same message: it costs no round trip. Outside a transaction block a message is a transaction of its own, so there it is
sent in front of every statement.
"""

from collections.abc import Callable, Mapping
from typing import Any

import psycopg
from django.db import transaction
from django.db.backends.postgresql import base

SETTING = "leafspan.teams"
_WITHOUT_ROWS = ("SET ", "SAVEPOINT ", "RELEASE ", "ROLLBACK ")
"""Statements that read no rows. Some must be the first of a transaction, or work where others fail."""


class DatabaseWrapper(base.DatabaseWrapper):
    """A connection that acts for some teams, at first for none."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401 - as Django has it
        super().__init__(*args, **kwargs)
        self.teams = ""
        """The ids of the teams acted for, joined by commas."""
        self._teams_set: str | None = ""
        """The teams that are set in the present transaction; None when that is not known."""
        self.execute_wrappers.append(self._for_teams)

    def _for_teams(
        self,
        execute: Callable[..., Any],
        sql: object,
        params: object,
        many: bool,  # noqa: FBT001 - as Django calls it
        context: Mapping[str, Any],
    ) -> Any:  # noqa: ANN401 - passes through
        """Run a statement for the teams acted for."""
        teams = self.teams
        autocommit = self.autocommit
        if (teams == "" if autocommit else teams == self._teams_set) or (
            isinstance(sql, str) and sql.startswith(_WITHOUT_ROWS)
        ):
            return execute(sql, params, many, context)
        cursor = context["cursor"].cursor
        if many or not isinstance(sql, str) or not isinstance(cursor, psycopg.ClientCursor):
            if autocommit:
                with transaction.atomic(using=self.alias):
                    return self._for_teams(execute, sql, params, many, context)
            with self.connection.cursor() as before:
                before.execute(_set_teams_sql(teams))
            self._teams_set = teams
            return execute(sql, params, many, context)
        result = execute(f"{_set_teams_sql(teams)}; {sql}", params, many, context)
        cursor.nextset()  # from the result of the setting to that of the statement
        if not autocommit:
            self._teams_set = teams
        return result

    def _set_autocommit(self, autocommit: bool) -> None:  # noqa: FBT001 - as Django has it
        super()._set_autocommit(autocommit)  # type: ignore[misc]  # the stubs leave it out
        self._teams_set = ""

    def _commit(self) -> None:
        super()._commit()  # type: ignore[misc]  # the stubs leave it out
        self._teams_set = ""

    def _rollback(self) -> None:
        super()._rollback()  # type: ignore[misc]  # the stubs leave it out
        self._teams_set = ""

    def _savepoint_rollback(self, sid: str) -> None:
        super()._savepoint_rollback(sid)  # type: ignore[misc]  # the stubs leave it out
        self._teams_set = None  # the setting is what it was at the savepoint


def _set_teams_sql(teams: str) -> str:
    """Return the statement that sets the teams; ``teams`` holds ids and commas only."""
    return f"SELECT set_config('{SETTING}', '{teams}', true)"
