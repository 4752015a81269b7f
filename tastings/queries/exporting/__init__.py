from tastings.queries.exporting.columns import JSON, STAMPS, Column
from tastings.queries.exporting.export_archive import (
    FORMAT,
    VERSION,
    ZipStream,
    check_may_export,
    export,
    export_for_owner,
    new_file,
    write_export,
)
from tastings.queries.exporting.lines import encode_line
from tastings.queries.exporting.scope import ExportScope
from tastings.queries.exporting.tables import LOGO, MEMBERS, SETTINGS, TABLES, TRIANGLE_TASTERS, ExportTable

__all__ = [
    "FORMAT",
    "JSON",
    "LOGO",
    "MEMBERS",
    "SETTINGS",
    "STAMPS",
    "TABLES",
    "TRIANGLE_TASTERS",
    "VERSION",
    "Column",
    "ExportScope",
    "ExportTable",
    "ZipStream",
    "check_may_export",
    "encode_line",
    "export",
    "export_for_owner",
    "new_file",
    "write_export",
]
