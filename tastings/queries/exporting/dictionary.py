"""The data dictionary of an export, made from its columns: as JSON for programs, as Markdown for people.

It is part of the file format and stays in English whatever language is active.
"""

import json
from collections.abc import Mapping

from lots.schema import Field
from tastings.queries.exporting.columns import JSON, STAMPS
from tastings.queries.exporting.glossary import GLOSSARY, unit_of
from tastings.queries.exporting.lines import SHEETS
from tastings.queries.exporting.tables import TABLES

_KINDS: Mapping[str, str] = {
    "text": "text",
    "texts": "list of texts",
    "number": "number",
    "integer": "whole number",
    "truth": "true or false",
    "date": "date, YYYY-MM-DD",
    "moment": "moment in UTC, RFC 3339",
    "choice": "one of the words listed",
    "reference": "id (UUID)",
    "key": "a descriptor's key",
    JSON: "any JSON",
    STAMPS: "list of edits",
}


def dictionary() -> dict[str, object]:
    """Return every table with its fields: kind, unit, limits and meaning."""
    return {
        "records": {
            table.name: {
                "file": table.file,
                "about": table.about,
                "fields": [_describe(column.field) for column in table.columns],
            }
            for table in TABLES
        },
        "sheets": {
            name: {
                "file": f"sheets/{name}.csv",
                "about": "records that are not deleted, for spreadsheets; a text that could be taken for a formula has"
                " an apostrophe before it",
            }
            for name in SHEETS
        },
    }


def _describe(field: Field) -> dict[str, object]:
    entry: dict[str, object] = {"name": field.name, "kind": field.kind, "required": field.required}
    limits = {
        "unit": unit_of(field.name, kind=field.kind),
        "low": field.low,
        "above": field.above,
        "high": field.high,
        "decimals": field.decimals,
        "longest": field.longest if field.kind in ("text", "texts", "key") else None,
        "choices": list(field.choices) or None,
        "pattern": field.pattern,
        "to": field.to,
    }
    entry |= {name: limit for name, limit in limits.items() if limit is not None}
    entry["meaning"] = meaning(field)
    return entry


def meaning(field: Field) -> str:
    """Return what a field means: its own word, the glossary's, or at least its name in plain letters."""
    return field.about or GLOSSARY.get(field.name) or field.name.replace("_", " ")


def dictionary_json() -> bytes:
    """Return the dictionary as JSON."""
    return (json.dumps(dictionary(), ensure_ascii=False, indent=1) + "\n").encode()


def dictionary_markdown() -> bytes:
    """Return the dictionary as Markdown, one table for each file."""
    lines = ["# What is in this export", ""]
    for table in TABLES:
        lines += [f"## {table.file}", "", f"{table.about[0].upper()}{table.about[1:]}.", ""]
        lines += ["| field | kind | unit | limits | meaning |", "| --- | --- | --- | --- | --- |"]
        lines += [_row(column.field) for column in table.columns]
        lines.append("")
    return "\n".join(lines).encode()


def _row(field: Field) -> str:
    limits = [
        "required" if field.required else "",
        f"at least {field.low:g}" if field.low is not None else "",
        f"more than {field.above:g}" if field.above is not None else "",
        f"at most {field.high:g}" if field.high is not None else "",
        f"{field.decimals} decimals" if field.decimals is not None else "",
        f"up to {field.longest} characters" if field.kind in ("text", "texts", "key") else "",
        ", ".join(field.choices),
        f"of a {field.to}" if field.to else "",
    ]
    unit = unit_of(field.name, kind=field.kind) or ""
    cells = [field.name, _KINDS[field.kind], unit, "; ".join(filter(None, limits)), meaning(field)]
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"
