"""Refuses what would go beyond a quota, and counts the records that members have made."""

from collections.abc import Mapping
from uuid import UUID

from django.db.models import Count, F

from tastings.errors import QuotaFull
from tastings.models import RecordCount
from tastings.queries.quotas import (
    PHOTO_QUOTAS,
    Quota,
    QuotaName,
    Used,
    photos_used,
    quotas_of,
    records_used,
    total,
    words_used,
)
from tastings.queries.records import MODELS
from tastings.wording.quotas import quota_full_text
from teams.errors import Problem
from teams.models import Member
from teams.postgresql.together import Statement, run_together


def quota_problem(quota: Quota) -> Problem:
    """Say which quota is full."""
    return Problem("", "quota", quota_full_text(quota.name, of_team=quota.of_team, limit=quota.limit))


def check_photo_quotas(member: Member) -> None:
    """Raise QuotaFull if the photo that was just added goes beyond a quota. The team's row must be locked."""
    used = photos_used(member.team_id)
    for quota in (
        *quotas_of(PHOTO_QUOTAS, used.get(member.user_id, {}), of_team=False),
        *quotas_of(PHOTO_QUOTAS, total(used), of_team=True),
    ):
        if quota.used > quota.limit:
            raise QuotaFull(quota_problem(quota))


_QUOTAS_OF_TYPE: Mapping[str, tuple[QuotaName, ...]] = {"note": ("notes",), "descriptor": ("records", "words")}
"""Quotas that a new record counts for, by its type; ``records`` alone for the others."""


class RecordAllowance:
    """What a member may still add to the team's records, within one push that has locked the team's row."""

    def __init__(self, member: Member, *, used: Used) -> None:
        self._member, self._used = member, used
        self._new: dict[QuotaName, set[UUID]] = {"notes": set(), "records": set(), "words": set()}
        self._left: dict[QuotaName, list[Quota]] = {}
        self._room: dict[QuotaName, int] = {}

    def full_quota(self, type_name: str, record: UUID) -> Quota | None:
        """Count a new record; if it goes beyond a quota return that quota and do not count it."""
        names = _QUOTAS_OF_TYPE.get(type_name, ("records",))
        for name in names:
            if name not in self._room:
                self._room[name] = min(quota.left for quota in self._quotas(name))
            if len(self._new[name]) >= self._room[name] and record not in self._new[name]:
                return next(quota for quota in self._quotas(name) if quota.left == self._room[name])
        for name in names:
            self._new[name].add(record)
        return None

    def add_counts_statements(self, stored: set[UUID]) -> list[Statement]:
        """Return what adds to the member's counts the new records that are stored."""
        notes, records = (len(self._new[name] & stored) for name in ("notes", "records"))
        if not (notes or records):
            return []
        return [_add_counts_statement(self._member.team_id, self._member.user_id, notes=notes, records=records)]

    def _quotas(self, name: QuotaName) -> list[Quota]:
        if name not in self._left:
            used = words_used(self._member.team_id) if name == "words" else self._used
            own, everyone = used.get(self._member.user_id, {}), total(used)
            names: tuple[QuotaName, ...] = ("words",) if name == "words" else ("notes", "records")
            for part in names:
                self._left[part] = quotas_of((part,), own, of_team=False) + quotas_of((part,), everyone, of_team=True)
        return self._left[name]


def _add_counts_statement(team: UUID, user: UUID, *, notes: int, records: int) -> Statement:
    """Return the statement that adds to the counts of one author."""
    return (
        """
        INSERT INTO tastings_recordcount AS stored (id, team_id, user_id, notes, records)
        VALUES (gen_random_uuid(), %s, %s, %s, %s)
        ON CONFLICT (team_id, user_id) DO UPDATE SET
            notes = stored.notes + excluded.notes, records = stored.records + excluded.records
        """,
        [team, user, notes, records],
    )


def recount_records(team: UUID) -> None:
    """Correct the team's counts by counting: what was pruned or imported was not counted when it happened.

    Pushes go on meanwhile: their additions stay, since the counts change by the difference found.
    """
    before = records_used(team)
    counted: dict[UUID, dict[QuotaName, int]] = {user: {"notes": 0, "records": 0} for user in before}
    for type_name, model in MODELS.items():
        author = "taster_id" if type_name == "session" else "author_id"
        name: QuotaName = "notes" if type_name == "note" else "records"
        rows = model._default_manager.filter(team_id=team).order_by().values_list(author).annotate(Count("id"))
        for user, number in rows:
            of_user = counted.setdefault(user, {"notes": 0, "records": 0})
            of_user[name] += number
    for user, numbers in counted.items():
        differences = {name: numbers[name] - before.get(user, {}).get(name, 0) for name in numbers}
        if user not in before:
            run_together([_add_counts_statement(team, user, **numbers)])
        elif any(differences.values()):
            changes = {name: F(name) + difference for name, difference in differences.items()}
            RecordCount.objects.filter(team_id=team, user_id=user).update(**changes)
