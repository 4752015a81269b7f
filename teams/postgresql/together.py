"""Several statements in one go to the database: for small ones the way there and back costs the most."""

from collections.abc import Iterable
from typing import cast
from uuid import UUID

from django.db import connections

from teams.postgresql.base import DatabaseWrapper, Statement

__all__ = ["Statement", "id_array", "run_together"]


def id_array(ids: Iterable[UUID]) -> str:
    """Return ids as one value for a parameter that is cast to ``uuid[]``: the driver writes a text at once."""
    return f"{{{','.join(map(str, ids))}}}"


def run_together(statements: Iterable[Statement]) -> list[list[tuple[object, ...]]]:
    """Run statements in their order; return the rows of each, in the order of the statements.

    Within a transaction each sees what those before it have done, as if it had been sent alone.
    """
    return cast("DatabaseWrapper", connections["default"]).run_together(statements)
