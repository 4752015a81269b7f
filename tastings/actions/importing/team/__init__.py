from tastings.actions.importing.team.import_archive import ArchiveError
from tastings.actions.importing.team.store_team import ImportedTeam, import_team

__all__ = ["ArchiveError", "ImportedTeam", "import_team"]
