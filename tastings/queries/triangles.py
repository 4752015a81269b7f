"""Reads of triangle tests and their answers."""

from collections import Counter
from collections.abc import Sequence
from uuid import UUID

from django.db.models import Count, Exists, OuterRef, Subquery
from django.db.models.functions import Coalesce
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _

from tastings.maths.comparison.triangle import POWER, Triangle, needed_tests, triangle
from tastings.maths.comparison.triangle_cups import MOST_SETS, ORDERS, CupSet, cup_sets
from tastings.models import Trial, TriangleTaster, TriangleTest
from tastings.queries.records import first_or_not_found, record_for
from teams.errors import NotAllowed
from teams.models import Member


def triangle_test_for(member: Member, test: UUID) -> TriangleTest:
    """Return the team's test; raise NotFound for an absent or a foreign one."""
    return first_or_not_found(TriangleTest.objects.filter(team_id=member.team_id, id=test))


def triangle_tests_of(
    member: Member, *, lot: UUID | None, waits_for: UUID | None = None, after: UUID | None, limit: int
) -> Sequence[TriangleTest]:
    """Return the team's tests in the order of their ids: of one lot, or with answers left for one taster to give."""
    rows = TriangleTest.objects.filter(team_id=member.team_id)
    if lot is not None:
        record_for(member, "lot", lot)
        rows = rows.filter(lot_id=lot)
    if waits_for is not None:
        answers = Trial.objects.filter(test=OuterRef("test"), taster_id=waits_for, withdrawn_at=None)
        n_given = Coalesce(Subquery(answers.order_by().values("test").annotate(n=Count("id")).values("n")), 0)
        rows = rows.filter(
            Exists(TriangleTaster.objects.filter(test=OuterRef("id"), user_id=waits_for, answers__gt=n_given))
        )
    if after is not None:
        rows = rows.filter(id__gt=after)
    return list(rows.prefetch_related("trials", "tasters").order_by("id")[:limit])


def counted_trials(test: TriangleTest) -> list[Trial]:
    """Return the answers that count, those withdrawn left out, in the order in which they came."""
    trials = [trial for trial in test.trials.all() if trial.withdrawn_at is None]
    return sorted(trials, key=lambda trial: (trial.created_at, trial.id))


def answers_left(test: TriangleTest) -> dict[UUID, int]:
    """Return how many answers each chosen taster has left to give, in the order in which they were chosen."""
    counts = Counter(trial.taster_id for trial in counted_trials(test))
    chosen = sorted(test.tasters.all(), key=lambda taster: taster.id)
    return {taster.user_id: max(0, taster.answers - counts[taster.user_id]) for taster in chosen}


def result_of(test: TriangleTest) -> Triangle | None:
    """Return what the answers say; None before the first."""
    trials = counted_trials(test)
    if not trials:
        return None
    n_correct = sum(trial.correct for trial in trials)
    return triangle(n_correct=n_correct, n_tests=len(trials), alpha=test.alpha, distinguishers=test.distinguishers)


def answers_needed(*, distinguishers: float, alpha: float = 0.05) -> int | None:
    """Return how many answers a test needs to find such a proportion of people; see `needed_tests`."""
    return needed_tests(alpha=alpha, distinguishers=distinguishers, target_power=POWER)


def cup_sets_of(test: TriangleTest) -> list[CupSet]:
    """Return as many sets of cups as the test needs answers, drawn with the server's key."""
    needed = answers_needed(alpha=test.alpha, distinguishers=test.distinguishers)
    key = salted_hmac("tastings.triangle_cups", str(test.id), algorithm="sha256").digest()
    return cup_sets(key, n_sets=needed or MOST_SETS)


def may_pour(member: Member, test: TriangleTest) -> bool:
    """Whether the member may see which cup holds which tea."""
    return member.decides or (member.may_write and member.user_id == test.by_id)


def next_order(test: TriangleTest, *, served: int) -> tuple[int, ...]:
    """Return the next taster's cups without codes, 0 the lot and 1 the other tea; each of six orders comes in turn."""
    return ORDERS[(test.id.int + served) % len(ORDERS)]


def poured_sets(member: Member, test: TriangleTest) -> list[CupSet]:
    """Return the sets of cups for whoever pours; raise NotAllowed for all but the test's maker, buyers and owners."""
    if not may_pour(member, test):
        raise NotAllowed(_("the cups are shown to whoever made the test, buyers and owners"))
    return cup_sets_of(test)
