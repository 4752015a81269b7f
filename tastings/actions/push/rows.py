"""Many rows of one table in one statement.

Rows travel as one JSON text, nearly what a phone sent, and the database converts each value to its column's type. That
saves a model object per row and a conversion per value; see benchmarks/sync_push.py.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cache
from typing import TypeVar
from uuid import UUID

import msgspec
from django.db import DEFAULT_DB_ALIAS, connection
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import F, Lookup, Model
from django.db.models.sql.compiler import SQLCompiler

from tastings.models import Descriptor, Note
from teams.postgresql.together import Statement, id_array, run_together


class _IsOneOf(Lookup):
    """A column that equals one of the ids of an array."""

    lookup_name = "is_one_of"
    prepare_rhs = False

    def as_sql(self, compiler: SQLCompiler, connection: BaseDatabaseWrapper) -> tuple[str, tuple[str | int, ...]]:
        """Return the condition and its values."""
        column, values = self.process_lhs(compiler, connection)
        return f"{column} = ANY (%s::uuid[])", (*values, id_array(self.rhs))


def id_in(ids: Iterable[UUID]) -> _IsOneOf:
    """Return the condition that a row has one of these ids, sent as one array instead of a placeholder each.

    The driver takes several times as long to read a statement of a hundred placeholders as the database to answer it.
    ``= ANY`` tells the planner how many ids there are; after ``IN (SELECT unnest(…))`` it once read the whole team.
    """
    return _IsOneOf(F("id"), list(ids))


_Row = TypeVar("_Row", bound=Model)


def rows_statement(model: type[Model], ids: Iterable[UUID]) -> Statement:
    """Return the statement that reads the records with these ids, notes with their descriptors; for `rows_of`.

    It is written once: Django takes longer to put one together than the database to answer it.
    """
    return _select(model), [id_array(ids)]


def rows_of(model: type[_Row], rows_read: Iterable[Sequence[object]]) -> list[_Row]:
    """Return what `rows_statement` has read as rows of the model."""
    n_own = len(_converters(model))
    rows = []
    for values in rows_read:
        row = _from_values(model, values[:n_own])
        if isinstance(row, Note):
            row.descriptor = _from_values(Descriptor, values[n_own:]) if values[n_own] is not None else None
        rows.append(row)
    return rows


@cache
def _select(model: type[Model]) -> str:
    joined = [(model, "row")] + ([(Descriptor, "word")] if model is Note else [])
    columns = ", ".join(
        f"{alias}.{connection.ops.quote_name(str(field.column))}"
        for table, alias in joined
        for field in table._meta.concrete_fields
    )
    words = " LEFT JOIN tastings_descriptor AS word ON word.id = row.descriptor_id" if model is Note else ""
    return f"SELECT {columns} FROM {model._meta.db_table} AS row{words} WHERE row.id = ANY (%s::uuid[])"  # noqa: S608 - names of our own tables


@cache
def _converters(model: type[Model]) -> list[Callable[..., object] | None]:
    """Return what makes each field's value of the column's, if it needs that."""
    return [getattr(field, "from_db_value", None) for field in model._meta.concrete_fields]


def _from_values(model: type[_Row], values: Sequence[object]) -> _Row:
    converted = [
        value if convert is None else convert(value, None, connection)
        for convert, value in zip(_converters(model), values, strict=True)
    ]
    return model.from_db(DEFAULT_DB_ALIAS, (), converted)  # names are asked only where some fields were not read


CHECK_CONSTRAINTS: Sequence[Statement] = [("SET CONSTRAINTS ALL IMMEDIATE", []), ("SET CONSTRAINTS ALL DEFERRED", [])]
"""They check deferred constraints at once: an error must show before the answer is made."""


def check_constraints_now() -> None:
    """Check deferred constraints at once."""
    run_together(CHECK_CONSTRAINTS)


Rows = Sequence[Mapping[str, object]]


def insert_statement(model: type[Model], rows: Rows, shared: Mapping[str, object]) -> Statement:
    """Return the statement that inserts rows of free ids; else as `upsert_statement`, which costs the database more."""
    return _insert(model, tuple(rows[0]), tuple(shared)), [*shared.values(), msgspec.json.encode(rows).decode()]


def upsert_statement(model: type[Model], rows: Rows, shared: Mapping[str, object]) -> Statement:
    """Return the statement that inserts rows or, where the id is known, overwrites them.

    Parameters
    ----------
    model : type
        Whose table.
    rows : sequence of mappings
        Column values by the column's name, in wire form; at least one row, all with the same columns.
    shared : mapping
        Values of the other columns, the same in every row.
    """
    return _upsert(model, tuple(rows[0]), tuple(shared)), [*shared.values(), msgspec.json.encode(rows).decode()]


_NEVER_CHANGED = ("id", "author_id", "taster_id")


@cache
def _insert(model: type[Model], own: tuple[str, ...], shared: tuple[str, ...]) -> str:
    types = {field.column: _type_name(field.db_type(connection)) for field in model._meta.concrete_fields}
    quoted = {name: connection.ops.quote_name(name) for name in (*shared, *own)}
    columns = ", ".join(quoted.values())
    values = ", ".join([*(f"%s::{types[name]}" for name in shared), *(quoted[name] for name in own)])
    read_as = ", ".join(f"{quoted[name]} {types[name]}" for name in own)
    table = connection.ops.quote_name(model._meta.db_table)
    return f"INSERT INTO {table} ({columns}) SELECT {values} FROM jsonb_to_recordset(%s::jsonb) AS sent({read_as})"  # noqa: S608 - names of our own tables


@cache
def _upsert(model: type[Model], own: tuple[str, ...], shared: tuple[str, ...]) -> str:
    quoted = (connection.ops.quote_name(name) for name in (*shared, *own) if name not in _NEVER_CHANGED)
    changes = ", ".join(f"{column} = EXCLUDED.{column}" for column in quoted)
    return f"{_insert(model, own, shared)} ON CONFLICT (id) DO UPDATE SET {changes}"


def _type_name(db_type: str | None) -> str:
    """Return a column's type without its length: a text that is too long must be refused, the cast would cut it."""
    name = (db_type or "text").partition("(")[0]
    return "text" if name == "varchar" else name
