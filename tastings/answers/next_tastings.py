"""The answer of ``GET /next-tastings``."""

from dataclasses import dataclass, field
from uuid import UUID

from tastings.answers.help_text import help_text
from tastings.queries.next_tastings import TastingPlan
from tastings.wording.development import next_session_sentence


@dataclass(frozen=True, slots=True)
class NextTasting:
    """A lot to taste."""

    lot: UUID
    name: str = field(metadata=help_text("of the lot"))
    status: str = field(metadata=help_text("`sample`, `bought` or empty"))
    sessions: int = field(metadata=help_text("how many there are so far"))
    sentence: str = field(metadata=help_text("what one more session would settle"))


@dataclass(frozen=True, slots=True)
class NextTastings:
    """The team's lots with an open question, the one to taste next first; ten at most."""

    open_lots: int = field(metadata=help_text("how many lots have one"))
    tastings: tuple[NextTasting, ...] = field(metadata=help_text("the one to taste next first; ten at most"))


def next_tastings_answer(plan: TastingPlan) -> NextTastings:
    """Return the answer, its sentences in the language that is active."""
    return NextTastings(
        open_lots=plan.open_lots,
        tastings=tuple(
            NextTasting(row.lot, row.name, row.status, row.sessions, next_session_sentence(row.next))
            for row in plan.tastings
        ),
    )
