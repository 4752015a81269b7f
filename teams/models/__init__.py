from teams.models.access import Invitation, SignInCode
from teams.models.audit import AuditEntry, AuditEvent
from teams.models.cells import MovedTeam
from teams.models.limits import AttemptCount, KnownClient
from teams.models.passwords import EmailVerification, ResetLink, ResetRequest
from teams.models.people import DeviceToken, Member, PullOnly, Role, Shop, Team, User
from teams.models.stored_answers import StoredAnswer

__all__ = [
    "AttemptCount",
    "AuditEntry",
    "AuditEvent",
    "DeviceToken",
    "EmailVerification",
    "Invitation",
    "KnownClient",
    "Member",
    "MovedTeam",
    "PullOnly",
    "ResetLink",
    "ResetRequest",
    "Role",
    "Shop",
    "SignInCode",
    "StoredAnswer",
    "Team",
    "User",
]
