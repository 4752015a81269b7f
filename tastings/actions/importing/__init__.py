from tastings.actions.importing.spreadsheet import CellError, ImportedSession, ImportTargets, SheetRow, parse_sheet
from tastings.actions.importing.store_sessions import SessionImport, import_session, import_targets

__all__ = [
    "CellError",
    "ImportTargets",
    "ImportedSession",
    "SessionImport",
    "SheetRow",
    "import_session",
    "import_targets",
    "parse_sheet",
]
