"""Triangle tests as they are answered."""

from dataclasses import dataclass, field
from datetime import date, datetime
from uuid import UUID

from tastings.answers.copying import answer_from
from tastings.answers.help_text import help_text
from tastings.figures import Exact
from tastings.maths.comparison.triangle import Triangle
from tastings.models import TriangleTest as Row
from tastings.queries.triangles import answers_left, counted_trials, result_of


@dataclass(frozen=True, slots=True)
class Trial:
    """One person's answer."""

    id: UUID = field(metadata=help_text("of the answer"))
    taster: UUID | None = field(metadata=help_text("empty for a guest"))
    correct: bool = field(metadata=help_text("whether the odd cup was found"))
    at: datetime = field(metadata=help_text("when it was given"))


@dataclass(frozen=True, slots=True)
class TriangleTaster:
    """Someone who is to taste."""

    user: UUID = field(metadata=help_text("login of the taster"))
    answers: int = field(metadata=help_text("how many they are to give"))
    left: int = field(metadata=help_text("how many of these are not given yet"))


@dataclass(frozen=True, slots=True)
class TriangleResult:
    """What the answers say."""

    n_correct: int = field(metadata=help_text("right answers"))
    n_tests: int = field(metadata=help_text("all answers"))
    p: float = field(metadata=help_text("exact binomial, one third by guessing (ISO 4120)"))
    alpha: float
    least_correct: int | None = field(
        metadata=help_text("right answers needed to call the teas different; null when no number would do")
    )
    different: bool = field(metadata=help_text("whether there were that many"))
    distinguishers: float = field(
        metadata=help_text("proportion of people who tell the teas apart that the test is to find out")
    )
    power: float = field(metadata=help_text("probability that so many answers find them out"))
    target_power: float = field(metadata=help_text("the probability that is wanted"))
    needed: int | None = field(metadata=help_text("answers needed for that; null when 5,000 are not enough"))
    found_distinguishers: float = field(metadata=help_text("best guess of the proportion who told them apart, 0 to 1"))


@dataclass(frozen=True, slots=True)
class TriangleTest:
    """One test of one lot against another."""

    id: UUID = field(metadata=help_text("of the test"))
    lot: UUID
    against: UUID = field(metadata=help_text("the other tea, such as the sample"))
    held_on: date = field(metadata=help_text("day of the test"))
    alpha: float = field(metadata=help_text("accepted chance of a false alarm"))
    distinguishers: float = field(
        metadata=help_text("proportion of people who tell the teas apart that the test is to find out")
    )
    remarks: str | None
    by: UUID
    tasters: tuple[TriangleTaster, ...] = field(metadata=help_text("who is to taste; anybody may answer beside them"))
    trials: tuple[Trial, ...] = field(metadata=help_text("answers that count"))
    result: TriangleResult | None = field(metadata=help_text("what they say; null without an answer"))


def triangle_answer(test: Row) -> TriangleTest:
    """Return a test with its answers and what they say."""
    result, left = result_of(test), answers_left(test)
    answers = {chosen.user_id: chosen.answers for chosen in test.tasters.all()}
    return answer_from(
        TriangleTest,
        test,
        lot=test.lot_id,
        against=test.against_id,
        alpha=Exact(test.alpha),
        distinguishers=Exact(test.distinguishers),
        remarks=test.remarks or None,
        by=test.by_id,
        tasters=tuple(TriangleTaster(user, answers[user], n_left) for user, n_left in left.items()),
        trials=tuple(Trial(row.id, row.taster_id, row.correct, row.created_at) for row in counted_trials(test)),
        result=None if result is None else triangle_result(result),
    )


def triangle_result(triangle: Triangle) -> TriangleResult:
    """Return the figures, p with three significant digits."""
    return answer_from(
        TriangleResult,
        triangle,
        p=Exact(f"{triangle.p:.3g}"),
        alpha=Exact(triangle.alpha),
        distinguishers=Exact(triangle.distinguishers),
    )
