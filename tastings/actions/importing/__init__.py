from tastings.actions.importing.guessing import Table, guess_columns, read_table, translated
from tastings.actions.importing.spreadsheet import (
    COLUMNS,
    CellError,
    ImportedSession,
    ImportTargets,
    SheetRow,
    parse_rows,
    parse_sheet,
)
from tastings.actions.importing.store_sessions import SessionImport, import_session, import_targets

__all__ = [
    "COLUMNS",
    "CellError",
    "ImportTargets",
    "ImportedSession",
    "SessionImport",
    "SheetRow",
    "Table",
    "guess_columns",
    "import_session",
    "import_targets",
    "parse_rows",
    "parse_sheet",
    "read_table",
    "translated",
]
