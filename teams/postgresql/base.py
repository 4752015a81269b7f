"""The one place where a transaction learns for which teams it acts.

The setting ``leafspan.teams``, which the policies of the database read, holds for one transaction and is gone at its
end, so that a connection that is used again carries nothing along. It travels in front of the first statement of a
transaction, in the same message: it costs no round trip. Outside a transaction block a message is a transaction of its
own, so there it travels in front of every statement.
"""

from collections.abc import Callable, Mapping
from typing import Any

import psycopg
from django.db import transaction
from django.db.backends.postgresql import base

SETTING = "leafspan.teams"
_UNTOLD = ("SET ", "SAVEPOINT ", "RELEASE ", "ROLLBACK ")
"""Statements that read no rows. Some must be the first of a transaction, or work where others fail."""


class DatabaseWrapper(base.DatabaseWrapper):
    """A connection that acts for some teams, at first for none."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401 - as Django has it
        super().__init__(*args, **kwargs)
        self.teams = ""
        """The ids of the teams acted for, joined by commas."""
        self._told: str | None = ""
        """What the present transaction has been told; None when that is not known."""
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
        alone = self.autocommit
        if (teams == "" if alone else teams == self._told) or (isinstance(sql, str) and sql.startswith(_UNTOLD)):
            return execute(sql, params, many, context)
        cursor = context["cursor"].cursor
        if many or not isinstance(sql, str) or not isinstance(cursor, psycopg.ClientCursor):
            if alone:
                with transaction.atomic(using=self.alias):
                    return self._for_teams(execute, sql, params, many, context)
            with self.connection.cursor() as before:
                before.execute(_telling(teams))
            self._told = teams
            return execute(sql, params, many, context)
        result = execute(f"{_telling(teams)}; {sql}", params, many, context)
        cursor.nextset()  # from what the setting answers to what the statement does
        if not alone:
            self._told = teams
        return result

    def _set_autocommit(self, autocommit: bool) -> None:  # noqa: FBT001 - as Django has it
        super()._set_autocommit(autocommit)  # type: ignore[misc]  # the stubs leave it out
        self._told = ""

    def _commit(self) -> None:
        super()._commit()  # type: ignore[misc]  # the stubs leave it out
        self._told = ""

    def _rollback(self) -> None:
        super()._rollback()  # type: ignore[misc]  # the stubs leave it out
        self._told = ""

    def _savepoint_rollback(self, sid: str) -> None:
        super()._savepoint_rollback(sid)  # type: ignore[misc]  # the stubs leave it out
        self._told = None  # the setting is again what it was at the savepoint


def _telling(teams: str) -> str:
    """Return the statement; ``teams`` holds nothing but ids and commas."""
    return f"SELECT set_config('{SETTING}', '{teams}', true)"
