"""What the audit log keeps of tastings, beside `teams.models.AuditEvent`."""

from enum import StrEnum


class TastingEvent(StrEnum):
    """What happened."""

    LOT_MADE = "lot_made"
    LOT_EDITED = "lot_edited"
    LOT_PRICED = "lot_priced"
    LOT_BOUGHT = "lot_bought"
    LOT_RETIRED = "lot_retired"
    LOT_DELETED = "lot_deleted"
    LOT_RESTORED = "lot_restored"
    REVEAL = "reveal"
    DECISION = "decision"
    POURERS_CHANGE = "pourers_change"
    TASTERS_CHANGE = "tasters_change"
    SAMPLES_CHANGE = "samples_change"
    FLIGHT_CALLED_OFF = "flight_called_off"
    LATE_SCORE = "late_score"
    CORRECTION = "correction"
    WORDS_MERGED = "words_merged"
    EXPORT = "export"
    LOGO = "logo"
    LOGO_REMOVED = "logo_removed"
    SHARE = "share"
    SHARE_KEPT = "share_kept"
    SHARE_ENDED = "share_ended"


FLIGHT_EVENTS = (
    TastingEvent.POURERS_CHANGE,
    TastingEvent.TASTERS_CHANGE,
    TastingEvent.SAMPLES_CHANGE,
    TastingEvent.FLIGHT_CALLED_OFF,
    TastingEvent.REVEAL,
    TastingEvent.LATE_SCORE,
    TastingEvent.DECISION,
)
"""Those of one flight, which their ``about`` names."""
