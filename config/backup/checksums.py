"""The content of every table as one SHA-256: rows in the order of the primary key, in PostgreSQL's own text form.

How values are written is fixed first, so that two servers with other settings or sort orders give the same.
"""

import hashlib
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import IO

from django.db import connection

FIXED = (
    "SET LOCAL datestyle TO 'ISO, YMD'",
    "SET LOCAL intervalstyle TO 'postgres'",
    "SET LOCAL timezone TO 'UTC'",
    "SET LOCAL extra_float_digits TO 1",
    "SET LOCAL bytea_output TO 'hex'",
    "SET LOCAL statement_timeout TO 0",
    "SET LOCAL row_security TO off",  # a policy in force is to fail, not to leave rows out
)
"""Settings under which all rows are read, and values are written the same on every server."""
_PIECE = 1 << 20


@dataclass(frozen=True, slots=True, kw_only=True)
class TableDigest:
    """Content of a table: its columns, the expressions its rows are ordered by, how many they are and their digest."""

    columns: Sequence[str]
    order: Sequence[str]
    rows: int = 0
    sha256: str = ""

    def query(self, table: str) -> str:
        """Return the statement that writes the content out."""
        columns = ", ".join(map(quote_name, self.columns))
        return (
            f"COPY (SELECT {columns} FROM ONLY public.{quote_name(table)} ORDER BY {', '.join(self.order)}) TO STDOUT"  # noqa: S608 - quoted names
        )


def quote_name(name: str) -> str:
    """Return a name as SQL takes it."""
    return '"' + name.replace('"', '""') + '"'


def tables_here() -> dict[str, TableDigest]:
    """Return every table of the database with its columns and order, without a digest yet."""
    with connection.cursor() as cursor:
        cursor.execute(
            """SELECT rel.relname, array_agg(part.attname::text ORDER BY part.attnum)
               FROM pg_class AS rel JOIN pg_attribute AS part ON part.attrelid = rel.oid
               WHERE rel.relnamespace = 'public'::regnamespace AND rel.relkind = 'r'
                   AND part.attnum > 0 AND NOT part.attisdropped
               GROUP BY rel.relname ORDER BY rel.relname COLLATE "C" """
        )
        columns: dict[str, list[str]] = dict(cursor.fetchall())
        cursor.execute(
            """SELECT rel.relname, part.attname::text, part.attcollation <> 0
               FROM pg_index AS key JOIN pg_class AS rel ON rel.oid = key.indrelid
               JOIN unnest(key.indkey) WITH ORDINALITY AS at (number, place) ON true
               JOIN pg_attribute AS part ON part.attrelid = rel.oid AND part.attnum = at.number
               WHERE key.indisprimary AND rel.relnamespace = 'public'::regnamespace
               ORDER BY rel.relname, at.place"""
        )
        keys: dict[str, list[str]] = {}
        for table, column, is_text in cursor.fetchall():
            keys.setdefault(table, []).append(quote_name(column) + (' COLLATE "C"' if is_text else ""))
    return {
        table: TableDigest(
            columns=names, order=keys.get(table) or [f'{quote_name(n)}::text COLLATE "C"' for n in names]
        )
        for table, names in columns.items()
    }


def table_digests(tables: Mapping[str, TableDigest]) -> Iterator[tuple[str, TableDigest]]:
    """Read every table in the present transaction and yield its digest."""
    with connection.cursor() as cursor:
        for statement in FIXED:
            cursor.execute(statement)
        for table, content in tables.items():
            with cursor.copy(content.query(table)) as copy:
                yield table, digest_of(content, copy)


def digest_of(content: TableDigest, pieces: Iterable[bytes | memoryview]) -> TableDigest:
    """Return the content with number and digest of its rows: a line of text each, newlines within escaped."""
    digest, rows = hashlib.sha256(), 0
    for piece in pieces:
        digest.update(piece)
        rows += bytes(piece).count(b"\n")
    return replace(content, rows=rows, sha256=digest.hexdigest())


def copy_hashed(source: IO[bytes], target: IO[bytes] | None = None, *, most: float = math.inf) -> tuple[int, str]:
    """Read a file to its end, or until there are more than ``most`` bytes, into another; return size and SHA-256."""
    digest, size = hashlib.sha256(), 0
    while size <= most and (piece := source.read(_PIECE)):
        if target is not None:
            target.write(piece)
        digest.update(piece)
        size += len(piece)
    return size, digest.hexdigest()
