from tastings.actions.importing.spreadsheet import Fault, Known, Pot, Row, read_sheet
from tastings.actions.importing.storing import Imported, import_pot, known_to

__all__ = ["Fault", "Imported", "Known", "Pot", "Row", "import_pot", "known_to", "read_sheet"]
