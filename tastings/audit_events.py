"""What the audit log keeps of tastings, beside `teams.models.AuditEvent`."""

from enum import StrEnum


class TastingEvent(StrEnum):
    """What happened."""

    REVEAL = "reveal"
    DECISION = "decision"
    POURERS_CHANGE = "pourers_change"
    LATE_SCORE = "late_score"
    CORRECTION = "correction"
    WORDS_MERGED = "words_merged"
    EXPORT = "export"
    SHARE = "share"
    SHARE_KEPT = "share_kept"
    SHARE_ENDED = "share_ended"
