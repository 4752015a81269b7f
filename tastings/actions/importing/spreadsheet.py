"""Tasting sheets kept in a spreadsheet: one row per infusion, checked like a phone's edits and stored as those are.

The file is CSV in UTF-8 (a byte order mark does no harm), at most 10 MiB, columns parted by commas or semicolons,
numbers with a decimal point. The first line names the columns, in any order:

===============  =======================================================================================
column           meaning; * must be there, + must be said on at least one row of the pot
===============  =======================================================================================
lot *            name of the lot: a live lot of just that name is used, else a new one is made
kind             green, white, yellow, oolong, black, dark, scented or herbal; needed for a new lot only
session *        label of the pot: rows of one lot with one label are one session
shop             name of the team's shop
started_at * +   when the session began, with its offset: 2026-03-04T10:11:00Z
leaf_g * +       dry leaf [g]
vessel_ml * +    what the pot holds [ml]
vessel_material  porcelain, unglazed_clay, glazed_stoneware, glass, silver or cast_iron
warmed           yes or no: was the pot warmed before the leaf went in
ending           spent or stopped
number *         infusion, from 1; 0 is the rinse
steep_s *        from filled to starting to pour [s]
pour_s           how long the pot took to empty [s]
kettle_c *       water in the kettle [deg C]
water_ml         water poured on [ml]
rest_s           until the next pour [s]
noted            keys of descriptors that were there, not rated; parted by spaces or semicolons
any key          a column named after a descriptor's key, as strength: its rating in the mouth, 0 to 10
===============  =======================================================================================

What holds for the whole pot may stand on one of its rows or on all of them. A row with a fault is left out and named;
the others are stored. Importing a file again changes nothing; importing a corrected one corrects what the first
import wrote, except where somebody has edited or deleted it since. Nothing is ever deleted: an emptied cell leaves
what is stored.
"""

import csv
import io
import re
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from uuid import UUID

from django.utils.translation import gettext as _

from lots.schema import Field, InvalidValue, clean_value, gettext_noop
from lots.schemas import LOT
from lots.wording import fault_text
from tastings.schemas import INFUSION, NOTE, SESSION
from teams.errors import Invalid, Problem

MAX_SHEET_BYTES = 10 * 1024 * 1024
MOST_COLUMNS = 100
"""More columns are refused: the page offers every word for each of them."""
OF_SESSION = ("shop", "started_at", "leaf_g", "vessel_ml", "vessel_material", "warmed", "ending")
OF_INFUSION = ("number", "steep_s", "pour_s", "kettle_c", "water_ml", "rest_s")
_REQUIRED = ("lot", "session", "started_at", "leaf_g", "vessel_ml", "number", "steep_s", "kettle_c")
_REQUIRED_PER_ROW = ("lot", "session", "number", "steep_s", "kettle_c")
_ONCE_PER_SESSION = ("started_at", "leaf_g", "vessel_ml")
COLUMNS: Mapping[str, Field] = {
    "lot": LOT.by_name()["name"],
    "kind": LOT.by_name()["kind"],
    "session": Field(name="session", kind="text", required=True),
    **{name: SESSION.by_name()[name] for name in OF_SESSION},
    **{name: INFUSION.by_name()[name] for name in OF_INFUSION},
    "shop": Field(name="shop", kind="text"),  # by its name here, where a record holds its id
    "noted": Field(name="noted", kind="text", longest=8000),
}
_RATING = NOTE.by_name()["intensity"]
_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?", re.ASCII)
_BOOLEANS = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}


@dataclass(frozen=True, slots=True)
class CellError:
    """What is wrong with one cell: the line of the file, the column, and why."""

    line: int
    column: str
    reason: str


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One checked line: the values of its cells by column, its ratings, and the descriptors only noted."""

    line: int
    values: Mapping[str, object]
    ratings: Mapping[str, object]
    noted: tuple[str, ...]


@dataclass(slots=True)
class ImportedSession:
    """The rows of one session, and its own values with the line that gave each."""

    lot: str
    label: str
    values: dict[str, object] = field(default_factory=dict)
    first_line_of: dict[str, int] = field(default_factory=dict)
    rows: dict[object, SheetRow] = field(default_factory=dict)
    """By infusion number."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportTargets:
    """What a file may refer to: live lots, shops and descriptors of the team."""

    lots: Mapping[str, Sequence[UUID]]
    shops: Mapping[str, UUID]
    descriptors: Collection[str]


def parse_sheet(data: bytes, *, targets: ImportTargets) -> tuple[list[ImportedSession], list[CellError]]:
    """Read a file and group its valid rows into sessions; nothing is written.

    Return the sessions in the order of the file, and what is wrong with the rows left out, by line. Raise Invalid if
    the file as a whole cannot be used: too large, not UTF-8, not CSV, or its columns are not those of an import.
    """
    columns, lines = read_lines(data)
    return parse_rows(columns, lines, targets=targets)


def parse_rows(
    columns: Sequence[str], lines: Sequence[tuple[int, Sequence[str]]], *, targets: ImportTargets
) -> tuple[list[ImportedSession], list[CellError]]:
    """Group the valid rows of a table into sessions, as `parse_sheet`; rows are given with their line."""
    _check_columns(columns, targets=targets)
    errors: list[CellError] = []
    sessions: dict[tuple[object, object], ImportedSession] = {}
    kind_by_lot: dict[str, tuple[object, int]] = {}
    for line, cells in lines:
        row, row_errors = _parse_row(line, dict(zip(columns, cells, strict=False)), targets=targets)
        if len(cells) > len(columns):
            counts = {"cells": len(cells), "columns": len(columns)}
            reason = _("has %(cells)s cells where the first line names %(columns)s columns") % counts
            row_errors = [CellError(line, "", reason)]
        if not row_errors:
            lot, label = str(row.values["lot"]), str(row.values["session"])
            session = sessions.setdefault((lot, label), ImportedSession(lot, label))
            row_errors = _add_row(session, row, kind_by_lot=kind_by_lot)
        errors += row_errors
    valid = []
    for session in sessions.values():
        missing = [name for name in _ONCE_PER_SESSION if name not in session.values]
        if session.lot not in kind_by_lot and session.lot not in targets.lots:
            missing.append("kind")
        elif session.lot in kind_by_lot:
            session.values["kind"] = kind_by_lot[session.lot][0]
        reason = _("no usable row of this session says it, and it must be known")
        errors += [CellError(row.line, name, reason) for row in session.rows.values() for name in missing]
        if session.rows and not missing:
            valid.append(session)
    return valid, sorted(errors, key=lambda error: error.line)


def read_lines(data: bytes) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """Return the column names, and the cells of every line that is not blank with its number."""
    if len(data) > MAX_SHEET_BYTES:
        raise _file_error("too_large", _("the file is larger than 10 MiB"))
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        detail = _("the file is not UTF-8 (byte %(byte)s)") % {"byte": error.start}
        raise _file_error("encoding", detail) from error
    columns, lines = table_of(
        text, delimiter=";" if _first_line(text).count(";") > _first_line(text).count(",") else ","
    )
    return [name.lower() for name in columns], lines


def _first_line(text: str) -> str:
    return text.lstrip().partition("\n")[0]


def table_of(text: str, *, delimiter: str) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """Return the cells of the first line of a CSV text, and those of every other that is not blank with its number.

    Raise Invalid if it is not CSV or has no rows.
    """
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    lines: list[tuple[int, list[str]]] = []
    starts = 1
    try:
        for cells in reader:
            filled = [cell.strip() for cell in cells]
            while filled and not filled[-1]:  # spreadsheets add empty cells at the end, or leave them off
                filled.pop()
            if filled:
                lines.append((starts, filled))
            starts = reader.line_num + 1
    except csv.Error as error:
        values = {"line": reader.line_num, "error": error}
        raise _file_error("csv", _("line %(line)s is not CSV: %(error)s") % values) from error
    if lines and len(lines[0][1]) > MOST_COLUMNS:
        counts = {"most": MOST_COLUMNS, "found": len(lines[0][1])}
        detail = _("the file has %(found)s columns, at most %(most)s are imported: leave out those not needed") % counts
        raise _file_error("too_many", detail)
    if len(lines) < 2:
        raise _file_error("empty", _("the file holds no rows below the names of its columns"))
    return lines[0][1], lines[1:]


def _check_columns(columns: Sequence[str], *, targets: ImportTargets) -> None:
    problems = [
        Problem(name, "unknown_column", _("is neither a column of an import nor a descriptor's key"))
        for name in dict.fromkeys(columns)
        if name not in COLUMNS and name not in targets.descriptors
    ]
    problems += [Problem(n, "twice", _("stands there twice")) for n, times in Counter(columns).items() if times > 1]
    problems += [Problem(name, "missing_column", _("must be there")) for name in _REQUIRED if name not in columns]
    if problems:
        raise Invalid(_("the columns are not those of an import; nothing was stored"), problems=problems)


def _file_error(code: str, detail: str) -> Invalid:
    return Invalid(_("%(detail)s; nothing was stored") % {"detail": detail}, problems=[Problem("", code, detail)])


def _parse_row(line: int, cells: Mapping[str, str], *, targets: ImportTargets) -> tuple[SheetRow, list[CellError]]:
    """Check every cell of a line."""
    values: dict[str, object] = {}
    ratings: dict[str, object] = {}
    errors: list[CellError] = []
    for column, text in cells.items():
        try:
            if column in COLUMNS:
                value = _parse_cell(COLUMNS[column], text)
                values |= {} if value is None else {column: value}
            elif (rating := _parse_cell(_RATING, text)) is not None:
                ratings[column] = rating
        except InvalidValue as error:
            errors.append(CellError(line, column, fault_text(error.fault)))
    invalid = {error.column for error in errors}
    empty = [name for name in _REQUIRED_PER_ROW if name not in values.keys() | invalid]
    errors += [CellError(line, name, _("is empty")) for name in empty]
    noted = tuple(dict.fromkeys(re.findall(r"[^\s;]+", str(values.pop("noted", "")))))
    row = SheetRow(line, values, ratings, noted)
    errors += _reference_errors(row, targets=targets)
    if values.get("shop") in targets.shops:
        values["shop"] = str(targets.shops[str(values["shop"])])
    return row, errors


def _reference_errors(row: SheetRow, *, targets: ImportTargets) -> Iterator[CellError]:
    """Yield an error for each name in a row that the team does not have, or has more than once."""
    shop = row.values.get("shop")
    if shop is not None and shop not in targets.shops:
        yield CellError(row.line, "shop", _("the team has no shop called %(shop)s") % {"shop": shop})
    if len(targets.lots.get(str(row.values.get("lot")), ())) > 1:
        yield CellError(row.line, "lot", _("the team has several lots of this name"))
    for key in row.noted:
        if key not in targets.descriptors:
            yield CellError(row.line, "noted", _("there is no descriptor %(key)s") % {"key": key})
        elif key in row.ratings:
            reason = _("%(key)s is rated on this row: it is one or the other") % {"key": key}
            yield CellError(row.line, "noted", reason)


def _parse_cell(of: Field, text: str) -> object:
    """Return a cell's value in wire form; None for an empty cell."""
    if not text:
        return None
    if of.kind in ("number", "integer"):
        if not _NUMBER.fullmatch(text):
            raise InvalidValue("type", gettext_noop("must be a number with a decimal point, as 3.5"))
        return clean_value(of, float(text))
    if of.kind == "truth":
        if text.lower() not in _BOOLEANS:
            raise InvalidValue("type", gettext_noop("must be yes or no"))
        return _BOOLEANS[text.lower()]
    return clean_value(of, text)


def _add_row(session: ImportedSession, row: SheetRow, *, kind_by_lot: dict[str, tuple[object, int]]) -> list[CellError]:
    """Add a row to its session, unless it contradicts a row before it."""
    other = _("line %(line)s says something else for this session")
    errors = [
        CellError(row.line, name, other % {"line": session.first_line_of[name]})
        for name in OF_SESSION
        if name in row.values and name in session.values and row.values[name] != session.values[name]
    ]
    kind = row.values.get("kind")
    first_kind, first_line = kind_by_lot.get(session.lot, (kind, row.line))
    if kind is not None and kind != first_kind:
        reason = _("line %(line)s says something else for this lot") % {"line": first_line}
        errors.append(CellError(row.line, "kind", reason))
    if (before := session.rows.get(row.values["number"])) is not None:
        reason = _("line %(line)s is this infusion already") % {"line": before.line}
        errors.append(CellError(row.line, "number", reason))
    if errors:
        return errors
    for name in OF_SESSION:
        if name in row.values and name not in session.values:
            session.values[name], session.first_line_of[name] = row.values[name], row.line
    if kind is not None:
        kind_by_lot.setdefault(session.lot, (kind, row.line))
    session.rows[row.values["number"]] = row
    return []
