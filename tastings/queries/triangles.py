"""Reads of triangle tests and their answers."""

from collections.abc import Sequence
from uuid import UUID

from tastings.maths.comparison.triangle import Triangle, triangle
from tastings.models import Trial, TriangleTest
from tastings.queries.records import record_for
from teams.errors import NotFound
from teams.models import Member


def triangle_test_for(member: Member, test: UUID) -> TriangleTest:
    """Return the team's test; raise NotFound for an absent or a foreign one."""
    found = TriangleTest.objects.filter(team_id=member.team_id, id=test).first()
    if found is None:
        raise NotFound
    return found


def triangle_tests_of(member: Member, *, lot: UUID | None, after: UUID | None, limit: int) -> Sequence[TriangleTest]:
    """Return the team's tests in the order of their ids, those of one lot if named."""
    rows = TriangleTest.objects.filter(team_id=member.team_id)
    if lot is not None:
        record_for(member, "lot", lot)
        rows = rows.filter(lot_id=lot)
    if after is not None:
        rows = rows.filter(id__gt=after)
    return list(rows.prefetch_related("trials").order_by("id")[:limit])


def counted_trials(test: TriangleTest) -> list[Trial]:
    """Return the answers that count, those withdrawn left out, in the order in which they came."""
    trials = [trial for trial in test.trials.all() if trial.withdrawn_at is None]
    return sorted(trials, key=lambda trial: (trial.created_at, trial.id))


def result_of(test: TriangleTest) -> Triangle | None:
    """Return what the answers say; None before the first."""
    trials = counted_trials(test)
    if not trials:
        return None
    n_correct = sum(trial.correct for trial in trials)
    return triangle(n_correct=n_correct, n_tests=len(trials), alpha=test.alpha, distinguishers=test.distinguishers)
