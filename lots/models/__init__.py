from lots.models.history import FieldHistory
from lots.models.lot import Lot
from lots.models.synced import Synced

__all__ = ["FieldHistory", "Lot", "Synced"]
