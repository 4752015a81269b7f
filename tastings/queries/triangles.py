"""Reads of triangle tests with their answers."""

from collections.abc import Mapping, Sequence
from uuid import UUID

from lots.schema import format_utc
from tastings.maths.comparison.triangle import triangle
from tastings.models import TriangleTest
from tastings.queries.records import record_for
from teams.errors import NotFound
from teams.models import Member


def triangle_row(member: Member, test: UUID) -> TriangleTest:
    """Return the team's test; raise NotHere for an absent or a foreign one."""
    found = TriangleTest.objects.filter(team_id=member.team_id, id=test).first()
    if found is None:
        raise NotFound
    return found


def triangle_test_for(member: Member, test: UUID) -> Mapping[str, object]:
    """Return a test, its answers and what follows from them."""
    return triangle_shown(triangle_row(member, test))


def triangle_tests_of(
    member: Member, *, lot: UUID | None, after: UUID | None, limit: int
) -> Sequence[dict[str, object]]:
    """Return the team's tests in the order of their ids, those of one lot if named."""
    rows = TriangleTest.objects.filter(team_id=member.team_id)
    if lot is not None:
        record_for(member, "lot", lot)
        rows = rows.filter(lot_id=lot)
    if after is not None:
        rows = rows.filter(id__gt=after)
    return [dict(triangle_shown(row)) for row in rows.prefetch_related("trials").order_by("id")[:limit]]


def triangle_answers(test: TriangleTest) -> tuple[int, int]:
    """Return right answers and answers."""
    said = [trial.correct for trial in test.trials.all() if trial.withdrawn_at is None]
    return sum(said), len(said)


def triangle_shown(test: TriangleTest) -> Mapping[str, object]:
    """Return a test with its answers and result in wire form."""
    right, answers = triangle_answers(test)
    result = None
    if answers:
        result = triangle(
            n_correct=right, n_tests=answers, alpha=test.alpha, distinguishers=test.distinguishers
        ).as_json()
    return {
        "id": str(test.id),
        "lot": str(test.lot_id),
        "against": str(test.against_id),
        "held_on": test.held_on.isoformat(),
        "alpha": test.alpha,
        "distinguishers": test.distinguishers,
        "remarks": test.remarks or None,
        "by": str(test.by_id),
        "trials": [
            {
                "id": str(trial.id),
                "taster": str(trial.taster_id) if trial.taster_id else None,
                "correct": trial.correct,
                "at": format_utc(trial.created_at),
            }
            for trial in sorted(test.trials.all(), key=lambda trial: (trial.created_at, trial.id))
            if trial.withdrawn_at is None
        ],
        "result": result,
    }
