"""How much a team and its members store, beside what they may: photos, uploads, notes, other records, open streams."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal
from uuid import UUID

import msgspec
from django.conf import settings
from django.db.models import Count, Q, Sum
from django.utils.translation import gettext as _

from tastings.models import Descriptor, Photo
from teams.errors import NotAllowed
from teams.models import Member
from teams.postgresql.together import Statement, run_together
from teams.queries.people import members_of
from teams.stream_counts import open_streams

QuotaName = Literal["photos", "photo_bytes", "uploads", "notes", "records", "words", "streams"]
NAMES: tuple[QuotaName, ...] = ("photos", "photo_bytes", "uploads", "notes", "records", "words", "streams")
PHOTO_QUOTAS: tuple[QuotaName, ...] = ("photos", "photo_bytes", "uploads")
Used = dict[UUID, dict[QuotaName, int]]
"""What is used, by login and quota."""
_UNDER_WAY = (Photo.State.RECEIVING, Photo.State.CHECKING)


@dataclass(frozen=True, slots=True, kw_only=True)
class Quota:
    """One limit and how much of it is used, in the unit that its name says."""

    name: QuotaName
    of_team: bool
    used: int
    limit: int

    @property
    def left(self) -> int:
        """Return how much may be added."""
        return max(0, self.limit - self.used)


def limit_of(name: QuotaName, *, of_team: bool) -> int:
    """Return how much a team, or each of its members, may have."""
    team, member = settings.QUOTAS[name]
    return int(team if of_team else member)


def quotas_of(names: tuple[QuotaName, ...], used: Mapping[QuotaName, int], *, of_team: bool) -> list[Quota]:
    """Return quotas with what is used of them."""
    return [
        Quota(name=name, of_team=of_team, used=used.get(name, 0), limit=limit_of(name, of_team=of_team))
        for name in names
    ]


def photos_used(team: UUID) -> Used:
    """Return what each member's photos use; those taken away or refused use nothing. Bytes are those announced."""
    stored = Photo.objects.filter(team_id=team, removed_at=None).exclude(state=Photo.State.REFUSED)
    sums = stored.values("by_id").annotate(
        photos=Count("id"), photo_bytes=Sum("bytes"), uploads=Count("id", filter=Q(state__in=_UNDER_WAY))
    )
    rows = sums.values_list("by_id", *PHOTO_QUOTAS)
    return {user: dict(zip(PHOTO_QUOTAS, numbers, strict=True)) for user, *numbers in rows}


def records_used(team: UUID) -> Used:
    """Return how many notes and other records each member has made."""
    return used_by_member(run_together([record_counts_statement(team)])[0])


def record_counts_statement(team: UUID) -> Statement:
    """Return the statement whose rows `used_by_member` takes."""
    return "SELECT user_id, notes, records FROM tastings_recordcount WHERE team_id = %s", [team]


def used_by_member(rows: list[tuple[object, ...]]) -> Used:
    """Return how many notes and other records each member has made."""
    return {
        user: {"notes": notes, "records": records}
        for user, notes, records in msgspec.convert(rows, list[tuple[UUID, int, int]])
    }


def words_used(team: UUID) -> Used:
    """Return how many words each member has made; deleted and merged ones count until they are forgotten."""
    rows = Descriptor.objects.filter(team_id=team).order_by().values_list("author_id").annotate(Count("id"))
    return {user: {"words": number} for user, number in rows}


def total(used: Used) -> dict[QuotaName, int]:
    """Return what all members together use."""
    return {name: sum(of_member.get(name, 0) for of_member in used.values()) for name in NAMES}


@dataclass(frozen=True, slots=True)
class Usage:
    """What a team and each of its members use."""

    team: list[Quota]
    members: list[tuple[Member, list[Quota]]]


def usage_of_team(member: Member) -> Usage:
    """Return what the team uses, for owners only; those who left stay listed while something of theirs is stored."""
    if not member.runs_team:
        raise NotAllowed(_("only an owner sees what the team uses"))
    used: Used = {}
    streams = open_streams(member.team_id)
    team = member.team_id
    for part in (photos_used(team), records_used(team), words_used(team), _named("streams", streams)):
        for user, numbers in part.items():
            used.setdefault(user, {}).update(numbers)
    members = [row for row in members_of(member) if row.left_at is None or any(used.get(row.user_id, {}).values())]
    return Usage(
        quotas_of(NAMES, total(used), of_team=True),
        [(row, quotas_of(NAMES, used.get(row.user_id, {}), of_team=False)) for row in members],
    )


def _named(name: QuotaName, numbers: Mapping[UUID, int]) -> Used:
    return {user: {name: number} for user, number in numbers.items()}
