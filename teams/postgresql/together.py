"""Several statements in one message to the database: for small ones the way there and back costs the most."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from uuid import UUID

from django.db import connection

Statement = tuple[str, Sequence[object] | Mapping[str, object]]
"""One command and its values; the last of several may be more commands that return no rows."""


def id_array(ids: Iterable[UUID]) -> str:
    """Return ids as one value for a parameter that is cast to ``uuid[]``: the driver writes a text at once."""
    return f"{{{','.join(map(str, ids))}}}"


def run_together(statements: Sequence[Statement]) -> list[list[tuple[Any, ...]]]:
    """Run statements in their order; return the rows of each, in the order of the statements.

    Within a transaction each sees what those before it have done, as if it had been sent alone.
    """
    with connection.cursor() as cursor:
        # only Django's psycopg cursor can write values into a statement
        cursor.execute("; ".join(cursor.cursor.mogrify(sql, values) for sql, values in statements))
        results = [cursor.fetchall() if cursor.description else []]
        while cursor.nextset():
            results.append(cursor.fetchall() if cursor.description else [])
    return results
