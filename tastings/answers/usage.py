"""What a team and its members use of what they may, as it is answered."""

from dataclasses import dataclass, field
from uuid import UUID

from tastings.answers.help_text import help_text
from tastings.queries.quotas import Quota, QuotaName, Usage


@dataclass(frozen=True, slots=True)
class QuotaUse:
    """One limit, how much of it is used and how much is left."""

    name: QuotaName = field(metadata=help_text("what is limited"))
    used: int = field(metadata=help_text("bytes as announced for photo_bytes, a count for all others"))
    limit: int = field(metadata=help_text("how much there may be"))
    left: int = field(metadata=help_text("how much more there may be"))


@dataclass(frozen=True, slots=True)
class MemberUse:
    """What one member uses; someone who left is listed while something of theirs is stored."""

    user: UUID = field(metadata=help_text("login of the member"))
    name: str = field(metadata=help_text("what the member is called"))
    quotas: tuple[QuotaUse, ...] = field(metadata=help_text("limits of one member"))


@dataclass(frozen=True, slots=True)
class TeamUse:
    """What the team uses, all members together, and each of them."""

    team: tuple[QuotaUse, ...] = field(metadata=help_text("limits of the whole team"))
    members: tuple[MemberUse, ...] = field(metadata=help_text("limits of each member"))


def team_use(usage: Usage) -> TeamUse:
    """Return the answer."""
    members = tuple(MemberUse(member.user_id, str(member.user), _uses(quotas)) for member, quotas in usage.members)
    return TeamUse(_uses(usage.team), members)


def _uses(quotas: list[Quota]) -> tuple[QuotaUse, ...]:
    return tuple(QuotaUse(quota.name, quota.used, quota.limit, quota.left) for quota in quotas)
