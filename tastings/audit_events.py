"""What the audit log keeps of tastings, beside `teams.models.AuditEvent`."""

from enum import StrEnum


class TastingEvent(StrEnum):
    """What happened."""

    REVEAL = "reveal"
    DECISION = "decision"
    EXPORT = "export"
    SHARE = "share"
    SHARE_KEPT = "share_kept"
    SHARE_ENDED = "share_ended"
