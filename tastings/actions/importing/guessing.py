"""Makes a spreadsheet of somebody's own into the table that an import reads: columns guessed, values rewritten.

Decimal commas become points, days and times of several ways of writing them become moments, and names of kinds
and materials in English or German become codes. What cannot be read stays as it is, and the import names it.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from django.utils import timezone
from django.utils.translation import override

from lots.schema import format_utc_short
from tastings.actions.importing.spreadsheet import COLUMNS, MAX_SHEET_BYTES, read_lines, table_of
from tastings.wording.labels import KINDS, MATERIALS, TEAS, descriptor_label, label
from teams.time_zones import is_missing

_NAMES: Mapping[str, tuple[str, ...]] = {
    "lot": ("tea", "tea name", "name", "sample", "tee", "partie", "sorte", "muster", "bezeichnung"),
    "kind": ("type", "class", "kind of tea", "teeart", "art", "teeklasse"),
    "session": ("pot", "tasting", "sitting", "verkostung", "sitzung", "probe"),
    "shop": ("store", "place", "laden", "geschäft", "ort"),
    "started_at": ("date", "day", "time", "started", "datum", "tag", "zeit", "begonnen"),
    "leaf_g": ("leaf", "grams", "dose", "leaf weight", "blatt", "blattmenge", "gramm", "einwaage"),
    "vessel_ml": ("vessel", "volume", "ml", "pot size", "gefäß", "volumen", "füllmenge"),
    "vessel_material": ("material", "clay", "gefäßmaterial"),
    "warmed": ("preheated", "vorgewärmt", "angewärmt"),
    "ending": ("end", "ende"),
    "number": ("infusion", "steep no", "no", "nr", "cup", "aufguss", "nummer", "aufguss nr"),
    "steep_s": ("steep", "seconds", "steep time", "infusion time", "ziehzeit", "sekunden", "zeit s"),
    "pour_s": ("pour", "pour time", "gießzeit", "eingießen"),
    "kettle_c": ("temperature", "temp", "water temperature", "kettle", "temperatur", "wassertemperatur", "kessel"),
    "water_ml": ("water", "wasser", "wassermenge"),
    "rest_s": ("rest", "pause"),
    "noted": ("notes", "words", "noticed", "notizen", "begriffe"),
}
"""Other names of each column, in lower case without units."""
_TRUTHS = {"ja": "yes", "nein": "no", "x": "yes"}
_DAY = re.compile(
    r"(?:(?P<y>\d{4})-(?P<m>\d\d?)-(?P<d>\d\d?)|(?P<d2>\d\d?)\.\s?(?P<m2>\d\d?)\.\s?(?P<y2>\d{4}))"
    r"(?:[T ,]+(?P<h>\d\d?):(?P<min>\d\d)(?::(?P<s>\d\d))?(?:\s*Uhr)?)?",
    re.ASCII,
)


@dataclass(frozen=True, slots=True)
class Table:
    """A file as it is written: the names of its columns, and its rows with their line."""

    columns: tuple[str, ...]
    lines: Sequence[tuple[int, Sequence[str]]]


def read_table(data: bytes) -> Table:
    """Read a CSV file in UTF-8, UTF-16 or Windows-1252, with commas, semicolons or tabs.

    Raise Invalid if it cannot be used.
    """
    text = _decoded(data)
    if text is None or len(data) > MAX_SHEET_BYTES:
        columns, lines = read_lines(data)  # which says what is wrong
        return Table(tuple(columns), lines)
    first = text.lstrip().partition("\n")[0]
    delimiter = max(",;\t", key=first.count)
    columns, lines = table_of(text, delimiter=delimiter)
    return Table(tuple(columns), lines)


def _decoded(data: bytes) -> str | None:
    encodings = ("utf-16",) if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252")
    for encoding in encodings:
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    return None


def guess_columns(table: Table, labels: Mapping[str, str]) -> list[str]:
    """Return for each column of a file the column of an import that it seems to be; empty text for none.

    ``labels`` are what descriptors are called, by key.
    """
    names: dict[str, str] = {_plain(name): column for column, others in _NAMES.items() for name in (column, *others)}
    for key, name in labels.items():
        for language in ("en", "de"):
            with override(language):
                names.setdefault(_plain(descriptor_label(key, {key: name})), key)
        names.setdefault(_plain(key), key)
    names |= {_plain(column): column for column in COLUMNS}
    guessed: list[str] = []
    for written in table.columns:
        column = names.get(_plain(written), "") or names.get(_plain(re.sub(r"[(\[].*?[)\]]", "", written)), "")
        guessed.append(column if column not in guessed else "")
    return guessed


def translated(table: Table, chosen: Sequence[str]) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """Return the table of an import: the chosen columns with their values rewritten.

    Without a column for the pot, rows that began at the same moment are one session.
    """
    places = [(i, column) for i, column in enumerate(chosen) if column and i < len(table.columns)]
    columns = [column for _i, column in places]
    begins = next((i for i, column in places if column == "started_at"), None)
    needs_session = "session" not in columns and begins is not None
    rows: list[tuple[int, list[str]]] = []
    for line, cells in table.lines:
        row = [_rewrite(column, cells[i].strip() if i < len(cells) else "") for i, column in places]
        if needs_session and begins is not None:
            row.append(cells[begins].strip() if begins < len(cells) else "")
        rows.append((line, row))
    return [*columns, "session"] if needs_session else columns, rows


def _rewrite(column: str, text: str) -> str:
    if column == "started_at":
        return _moment(text)
    if column == "warmed":
        return _TRUTHS.get(text.casefold(), text)
    if column == "kind":
        return _code(text, TEAS) or _code(text, KINDS) or text
    if column == "vessel_material":
        return _code(text, MATERIALS) or text
    if column in COLUMNS and COLUMNS[column].kind not in ("number", "integer"):
        return text
    number = re.sub(r"(?<=\d)\s*(g|ml|s|sec|sek|°\s*c|c)\.?$", "", text, flags=re.IGNORECASE)
    return number.replace(",", ".") if re.fullmatch(r"[+-]?\d+,\d+", number, re.ASCII) else number


def _moment(text: str) -> str:
    """Return a day with or without a time, by the clock of the team's pages, as a moment; at noon without a time."""
    match = _DAY.fullmatch(text)
    if match is None:
        return text
    year, month, day = (int(match[name] or match[f"{name}2"]) for name in ("y", "m", "d"))
    hour = 12 if match["h"] is None else int(match["h"])
    try:
        zone = timezone.get_current_timezone()
        at = datetime(year, month, day, hour, int(match["min"] or 0), int(match["s"] or 0), tzinfo=zone)
        return text if is_missing(at) else format_utc_short(at.astimezone(UTC))
    except (ValueError, OverflowError):
        return text


def _code(text: str, labels: Mapping[str, object]) -> str:
    for code in labels:
        for language in ("en", "de"):
            with override(language):
                if _plain(text) in (_plain(label(labels, code)), _plain(code)):  # type: ignore[arg-type]
                    return code
    return ""


def _plain(text: str) -> str:
    return re.sub(r"[\W_]+", " ", text.casefold()).strip()
