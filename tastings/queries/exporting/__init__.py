from tastings.queries.exporting.archive import FORMAT, VERSION, Stream, export, export_for, write_export
from tastings.queries.exporting.columns import JSON, STAMPS, Column
from tastings.queries.exporting.lines import encoded
from tastings.queries.exporting.scope import Scope
from tastings.queries.exporting.tables import MEMBERS, SETTINGS, TABLES, Table

__all__ = [
    "FORMAT",
    "JSON",
    "MEMBERS",
    "SETTINGS",
    "STAMPS",
    "TABLES",
    "VERSION",
    "Column",
    "Scope",
    "Stream",
    "Table",
    "encoded",
    "export",
    "export_for",
    "write_export",
]
