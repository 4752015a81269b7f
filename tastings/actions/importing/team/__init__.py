from tastings.actions.importing.team.archive import BadFile
from tastings.actions.importing.team.storing import Brought, import_team

__all__ = ["BadFile", "Brought", "import_team"]
