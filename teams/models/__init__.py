from teams.models.access import Invitation
from teams.models.audit import AuditEntry, AuditEvent
from teams.models.guard import KnownPlace, Tally
from teams.models.passwords import ResetLink, ResetRequest
from teams.models.people import DeviceToken, Member, Role, Shop, Team, User

__all__ = [
    "AuditEntry",
    "AuditEvent",
    "DeviceToken",
    "Invitation",
    "KnownPlace",
    "Member",
    "ResetLink",
    "ResetRequest",
    "Role",
    "Shop",
    "Tally",
    "Team",
    "User",
]
