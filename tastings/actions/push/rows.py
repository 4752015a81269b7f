"""Many rows of one table in one statement.

Rows travel as one JSON text, nearly what a phone sent, and the database converts each value to its column's type. That
saves a model object per row and a conversion per value; see benchmarks/sync_push.py.
"""

from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from typing import Any
from uuid import UUID

import msgspec
from django.db import connection
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import F, Lookup, Model
from django.db.models.sql.compiler import SQLCompiler

from teams.postgresql.together import Statement


class _IsOneOf(Lookup):
    """A column that equals one of the ids of an array."""

    lookup_name = "is_one_of"
    prepare_rhs = False

    def as_sql(self, compiler: SQLCompiler, connection: BaseDatabaseWrapper) -> tuple[str, Any]:
        """Return the condition and its values."""
        column, values = self.process_lhs(compiler, connection)
        return f"{column} = ANY (%s::uuid[])", [*values, self.rhs]


def id_in(ids: Iterable[UUID]) -> _IsOneOf:
    """Return the condition that a row has one of these ids, sent as one array instead of a placeholder each.

    The driver takes several times as long to read a statement of a hundred placeholders as the database to answer it.
    ``= ANY`` tells the planner how many ids there are; after ``IN (SELECT unnest(…))`` it once read the whole team.
    """
    return _IsOneOf(F("id"), list(ids))


CHECK_CONSTRAINTS = "SET CONSTRAINTS ALL IMMEDIATE; SET CONSTRAINTS ALL DEFERRED"
"""Checks deferred constraints at once: an error must show before the answer is made."""


def check_constraints_now() -> None:
    """Check deferred constraints at once."""
    with connection.cursor() as cursor:
        cursor.execute(CHECK_CONSTRAINTS)


def upsert(model: type[Model], rows: Sequence[Mapping[str, object]]) -> Statement:
    """Return the statement that inserts rows or, where the id is known, overwrites them.

    Parameters
    ----------
    model : type
        Whose table.
    rows : sequence of mappings
        Every column's value by the column's name, in wire form; at least one, all with the same columns.
    """
    return _upsert(model, tuple(rows[0])), [msgspec.json.encode(rows).decode()]


_NEVER_CHANGED = ("id", "author_id", "taster_id")


@cache
def _upsert(model: type[Model], names: tuple[str, ...]) -> str:
    types = {field.column: _type_name(field.db_type(connection)) for field in model._meta.concrete_fields}
    quoted = {name: connection.ops.quote_name(name) for name in names}
    columns = ", ".join(quoted.values())
    read_as = ", ".join(f"{column} {types[name]}" for name, column in quoted.items())
    changes = ", ".join(
        f"{column} = EXCLUDED.{column}" for name, column in quoted.items() if name not in _NEVER_CHANGED
    )
    table = connection.ops.quote_name(model._meta.db_table)
    return (
        f"INSERT INTO {table} ({columns}) SELECT {columns} FROM jsonb_to_recordset(%s::jsonb) AS sent({read_as})"  # noqa: S608 - names of our own tables
        f" ON CONFLICT (id) DO UPDATE SET {changes}"
    )


def _type_name(db_type: str | None) -> str:
    """Return a column's type without its length: a text that is too long must be refused, the cast would cut it."""
    name = (db_type or "text").partition("(")[0]
    return "text" if name == "varchar" else name
