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
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from uuid import UUID

from lots.schema import Field, InvalidValue, clean_value
from lots.schemas import LOT
from lots.wording import fault_text
from tastings.schemas import INFUSION, NOTE, SESSION
from teams.errors import Invalid, Problem

LARGEST_BYTES = 10 * 1024 * 1024
OF_SESSION = ("shop", "started_at", "leaf_g", "vessel_ml", "vessel_material", "warmed", "ending")
OF_INFUSION = ("number", "steep_s", "pour_s", "kettle_c", "water_ml", "rest_s")
_MUST = ("lot", "session", "started_at", "leaf_g", "vessel_ml", "number", "steep_s", "kettle_c")
_ON_EVERY_ROW = ("lot", "session", "number", "steep_s", "kettle_c")
_SAID_ONCE = ("started_at", "leaf_g", "vessel_ml")
_FIELDS: Mapping[str, Field] = {
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
_TRUTHS = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with one cell: the line of the file, the column, and why."""

    line: int
    column: str
    reason: str


@dataclass(frozen=True, slots=True)
class Row:
    """One checked line: the values of its cells by column, its ratings, and the descriptors only noted."""

    line: int
    values: Mapping[str, object]
    ratings: Mapping[str, object]
    noted: tuple[str, ...]


@dataclass(slots=True)
class Pot:
    """The rows of one session, and what they say of it as a whole."""

    lot: str
    label: str
    whole: dict[str, object] = field(default_factory=dict)
    said_on: dict[str, int] = field(default_factory=dict)
    rows: dict[object, Row] = field(default_factory=dict)
    """By infusion number."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What a file may refer to: live lots, shops and descriptors of the team."""

    lots: Mapping[str, Sequence[UUID]]
    shops: Mapping[str, UUID]
    descriptors: Collection[str]


def read_sheet(data: bytes, *, known: Known) -> tuple[list[Pot], list[Fault]]:
    """Read a file and group its good rows into pots; nothing is written.

    Returns
    -------
    tuple[list[Pot], list[Fault]]
        Pots in the order of the file, and what is wrong with the rows left out, by line.

    Raises
    ------
    Invalid
        The file as a whole cannot be used: too large, not UTF-8, not CSV, or its columns are not ones known.
    """
    columns, lines = _cells(data)
    _check_columns(columns, known=known)
    faults: list[Fault] = []
    pots: dict[tuple[object, object], Pot] = {}
    kinds: dict[str, tuple[object, int]] = {}
    for line, cells in lines:
        row, wrong = _row(line, dict(zip(columns, cells, strict=False)), known=known)
        if len(cells) > len(columns):
            wrong = [Fault(line, "", f"has {len(cells)} cells where the first line names {len(columns)} columns")]
        if not wrong:
            lot, label = str(row.values["lot"]), str(row.values["session"])
            wrong = _join(pots.setdefault((lot, label), Pot(lot, label)), row, kinds=kinds)
        faults += wrong
    good = []
    for pot in pots.values():
        lacking = [name for name in _SAID_ONCE if name not in pot.whole]
        if pot.lot not in kinds and pot.lot not in known.lots:
            lacking.append("kind")
        elif pot.lot in kinds:
            pot.whole["kind"] = kinds[pot.lot][0]
        reason = "no usable row of this session says it, and it must be known"
        faults += [Fault(row.line, name, reason) for row in pot.rows.values() for name in lacking]
        if pot.rows and not lacking:
            good.append(pot)
    return good, sorted(faults, key=lambda fault: fault.line)


def _cells(data: bytes) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """Return the column names, and the cells of every line that is not blank with its number."""
    if len(data) > LARGEST_BYTES:
        raise _unusable("", "too_large", "the file is larger than 10 MiB")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _unusable("", "encoding", f"the file is not UTF-8 (byte {error.start})") from error
    first = text.lstrip().partition("\n")[0]
    delimiter = ";" if first.count(";") > first.count(",") else ","
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
        raise _unusable("", "csv", f"line {reader.line_num} is not CSV: {error}") from error
    if len(lines) < 2:
        raise _unusable("", "empty", "the file holds no rows below the names of its columns")
    return [name.lower() for name in lines[0][1]], lines[1:]


def _check_columns(columns: Sequence[str], *, known: Known) -> None:
    problems = [
        Problem(name, "unknown_column", "is neither a column of an import nor a descriptor's key")
        for name in dict.fromkeys(columns)
        if name not in _FIELDS and name not in known.descriptors
    ]
    problems += [Problem(n, "twice", "stands there twice") for n, times in Counter(columns).items() if times > 1]
    problems += [Problem(name, "missing_column", "must be there") for name in _MUST if name not in columns]
    if problems:
        raise Invalid("the columns are not those of an import; nothing was stored", problems=problems)


def _unusable(name: str, code: str, detail: str) -> Invalid:
    return Invalid(f"{detail}; nothing was stored", problems=[Problem(name, code, detail)])


def _row(line: int, cells: Mapping[str, str], *, known: Known) -> tuple[Row, list[Fault]]:
    """Check every cell of a line."""
    values: dict[str, object] = {}
    ratings: dict[str, object] = {}
    faults: list[Fault] = []
    for column, text in cells.items():
        try:
            if column in _FIELDS:
                value = _value(_FIELDS[column], text)
                values |= {} if value is None else {column: value}
            elif (rating := _value(_RATING, text)) is not None:
                ratings[column] = rating
        except InvalidValue as error:
            faults.append(Fault(line, column, fault_text(error.fault)))
    spoilt = {fault.column for fault in faults}
    faults += [Fault(line, name, "is empty") for name in _ON_EVERY_ROW if name not in values.keys() | spoilt]
    if (shop := values.get("shop")) is not None:
        if shop in known.shops:
            values["shop"] = str(known.shops[str(shop)])
        else:
            faults.append(Fault(line, "shop", f"the team has no shop called {shop}"))
    if len(known.lots.get(str(values.get("lot")), ())) > 1:
        faults.append(Fault(line, "lot", "the team has several lots of this name"))
    noted = tuple(dict.fromkeys(re.findall(r"[^\s;]+", str(values.pop("noted", "")))))
    for key in noted:
        if key not in known.descriptors:
            faults.append(Fault(line, "noted", f"there is no descriptor {key}"))
        elif key in ratings:
            faults.append(Fault(line, "noted", f"{key} is rated on this row: it is one or the other"))
    return Row(line, values, ratings, noted), faults


def _value(of: Field, text: str) -> object:
    """Return a cell's value as it would travel; None for an empty cell."""
    if not text:
        return None
    if of.kind in ("number", "integer"):
        if not _NUMBER.fullmatch(text):
            raise InvalidValue("type", "must be a number with a decimal point, as 3.5")
        return clean_value(of, float(text))
    if of.kind == "truth":
        if text.lower() not in _TRUTHS:
            raise InvalidValue("type", "must be yes or no")
        return _TRUTHS[text.lower()]
    return clean_value(of, text)


def _join(pot: Pot, row: Row, *, kinds: dict[str, tuple[object, int]]) -> list[Fault]:
    """Add a row to its pot, unless it contradicts a row before it."""
    faults = [
        Fault(row.line, name, f"line {pot.said_on[name]} says something else for this session")
        for name in OF_SESSION
        if name in row.values and name in pot.whole and row.values[name] != pot.whole[name]
    ]
    kind = row.values.get("kind")
    if kind is not None and pot.lot in kinds and kinds[pot.lot][0] != kind:
        faults.append(Fault(row.line, "kind", f"line {kinds[pot.lot][1]} says something else for this lot"))
    if (before := pot.rows.get(row.values["number"])) is not None:
        faults.append(Fault(row.line, "number", f"line {before.line} is this infusion already"))
    if faults:
        return faults
    for name in OF_SESSION:
        if name in row.values and name not in pot.whole:
            pot.whole[name], pot.said_on[name] = row.values[name], row.line
    if kind is not None:
        kinds.setdefault(pot.lot, (kind, row.line))
    pot.rows[row.values["number"]] = row
    return []
