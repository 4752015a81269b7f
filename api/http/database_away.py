"""Whether an error says that the database is away for a moment, as while it restarts."""

import psycopg
from django.db import InterfaceError, OperationalError
from django.utils.translation import gettext_lazy as _

from teams.errors import Refused

RETRY_AFTER_S = 5
_CLASS_OF_CONNECTIONS = "08"
_GOING_OR_COMING = frozenset(("57P01", "57P02", "57P03", "53300"))
"""Shutdown, crash, starting, too many connections: PostgreSQL manual, appendix A."""


class DatabaseAway(Refused):
    """The database does not answer."""

    status = 503
    code = "unavailable"
    title = _("The database is away for a moment; nothing was applied")


def is_database_away(error: BaseException | None) -> bool:
    """Whether the database could not be reached, closed the connection, or is stopping or starting."""
    if isinstance(error, InterfaceError | psycopg.InterfaceError):
        return True
    if not isinstance(error, OperationalError | psycopg.OperationalError):
        return False
    cause = error if isinstance(error, psycopg.Error) else error.__cause__
    state = getattr(cause, "sqlstate", None)
    return state is None or state.startswith(_CLASS_OF_CONNECTIONS) or state in _GOING_OR_COMING
