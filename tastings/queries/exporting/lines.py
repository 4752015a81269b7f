"""Rows as JSON Lines and as CSV for spreadsheets, read a few thousand at a time."""

import csv
import io
import json
from collections.abc import Callable, Collection, Iterator, Mapping
from operator import itemgetter

from django.db.models import Model, QuerySet

from tastings.queries.exporting.columns import TO_LINE, Column
from tastings.queries.exporting.scope import ExportScope
from tastings.queries.exporting.tables import TABLES, ExportTable

_FETCH_SIZE = 2000
_ROWS_PER_CHUNK = 200
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""A text that begins so may be taken for a formula by a spreadsheet (from memory of OWASP's advice on CSV)."""


def encode_line(value: object) -> str:
    """Return one value as JSON without needless space; the same value always gives the same text."""
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def json_lines(table: ExportTable, scope: ExportScope, *, missing: Collection[object]) -> Iterator[tuple[bytes, int]]:
    """Give a table's rows as lines, in pieces with the number of lines in each, but for pictures in ``missing``."""
    names = [column.name for column in table.columns]
    convert_row = _reader(table.columns)
    skip = _skipped(table, missing)
    chunk: list[str] = []
    for row in _rows(table.rows(scope), [column.read for column in table.columns]):
        if skip is not None and skip(row):
            continue
        chunk.append(encode_line(dict(zip(names, convert_row(row), strict=True))))
        if len(chunk) == _ROWS_PER_CHUNK:
            yield _to_bytes(chunk), len(chunk)
            chunk = []
    if chunk:
        yield _to_bytes(chunk), len(chunk)


def _to_bytes(lines: list[str]) -> bytes:
    return ("\n".join(lines) + "\n").encode()


def _rows(rows: QuerySet[Model], paths: list[str]) -> Iterator[tuple[object, ...]]:
    """Read by a cursor of the server, as tuples: a team may have millions."""
    return rows.values_list(*paths).iterator(chunk_size=_FETCH_SIZE)


def _reader(columns: Collection[Column]) -> Callable[[tuple[object, ...]], Iterator[object]]:
    convert = [TO_LINE[column.field.kind] for column in columns]
    return lambda row: (to_line(value) for to_line, value in zip(convert, row, strict=False))


def _skipped(table: ExportTable, missing: Collection[object]) -> Callable[[tuple[object, ...]], bool] | None:
    column = {"photo_contents": "id", "photos": "content", "logo": "content"}.get(table.name)
    if not missing or column is None:
        return None
    place = itemgetter([c.name for c in table.columns].index(column))
    return lambda row: place(row) in missing


SHEETS: Mapping[str, tuple[tuple[str, str], ...]] = {
    "lots": (),
    "pots": (("shop_name", "shop__name"),),
    "sessions": (("lot_name", "lot__name"), ("shop_name", "shop__name"), ("taster_username", "taster__username")),
    "infusions": (),
    "notes": (("descriptor_label", "descriptor__label"),),
    "descriptors": (),
}
"""The record types as sheets, with the columns each has beside its own fields."""
_NOT_IN_SHEETS = ("stamps", "deleted", "shared_once", "descriptor_id")


def csv_sheet(name: str, scope: ExportScope) -> Iterator[tuple[bytes, int]]:
    """Give the live records of a type as CSV after RFC 4180, in pieces with the number of rows in each.

    UTF-8 with a byte order mark, which spreadsheets need to read it as such. A text that could be taken for a formula
    has an apostrophe before it.
    """
    [table] = [table for table in TABLES if table.name == name]
    columns = [column for column in table.columns if column.name not in _NOT_IN_SHEETS]
    joined = SHEETS[name]
    rows = table.rows(scope).filter(removed=False)
    if name in ("infusions", "notes"):
        rows = rows.filter(session__removed=False)
    convert_row = _reader(columns)
    text = io.StringIO()
    write = csv.writer(text).writerow
    write([*(column.name for column in columns), *(cell for cell, _ in joined)])
    yield b"\xef\xbb\xbf" + text.getvalue().encode(), 0
    waiting = 0
    text.seek(text.truncate(0))
    for row in _rows(rows, [*(column.read for column in columns), *(path for _, path in joined)]):
        write([_cell(value) for value in (*convert_row(row), *row[len(columns) :])])
        waiting += 1
        if waiting == _ROWS_PER_CHUNK:
            yield text.getvalue().encode(), waiting
            waiting = 0
            text.seek(text.truncate(0))
    if waiting:
        yield text.getvalue().encode(), waiting


def _cell(value: object) -> object:
    match value:
        case bool():
            return "true" if value else "false"
        case list():
            return _cell("; ".join(str(item) for item in value))
        case str() if value.startswith(_FORMULA):
            return f"'{value}"
        case _:
            return value
