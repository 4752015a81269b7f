"""What a team and its members use of what they may, as it is answered."""

from dataclasses import dataclass, field
from uuid import UUID

from tastings.answers.help_text import help_text
from tastings.queries.quotas import Quota, QuotaName, Usage


@dataclass(frozen=True, slots=True)
class QuotaUse:
    """One limit, how much of it is used and how much is left."""

    name: QuotaName
    used: int = field(metadata=help_text("bytes as announced for photo_bytes, a count for all others"))
    limit: int
    left: int


@dataclass(frozen=True, slots=True)
class MemberUse:
    """What one member uses; someone who left is listed while something of theirs is stored."""

    user: UUID
    name: str
    quotas: tuple[QuotaUse, ...]


@dataclass(frozen=True, slots=True)
class TeamUse:
    """What the team uses, all members together, and each of them."""

    team: tuple[QuotaUse, ...]
    members: tuple[MemberUse, ...]


def team_use(usage: Usage) -> TeamUse:
    """Return the answer."""
    members = tuple(MemberUse(member.user_id, str(member.user), _uses(quotas)) for member, quotas in usage.members)
    return TeamUse(_uses(usage.team), members)


def _uses(quotas: list[Quota]) -> tuple[QuotaUse, ...]:
    return tuple(QuotaUse(quota.name, quota.used, quota.limit, quota.left) for quota in quotas)
