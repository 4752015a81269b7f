"""The answer of ``GET /compare``."""

from dataclasses import dataclass, field

from tastings.answers.copying import answer_from
from tastings.answers.development import Evidence, SteepCount, evidence_answer, steeps_answer
from tastings.answers.help_text import help_text
from tastings.maths.comparison.side_by_side import FIRST_INFUSIONS, LIKING, Comparison, Difference, Pair
from tastings.maths.curve.development import DescriptorCurve, Development
from tastings.maths.curve.estimate import STRENGTH
from tastings.maths.curve.profile import Profile
from tastings.maths.curve.steep_count import LEVEL
from tastings.wording.development import development_cautions


@dataclass(frozen=True, slots=True)
class ComparedGroup:
    """One lot, or one lot's sessions in one kind of pot."""

    name: str
    evidence: Evidence
    profile: Profile
    steeps: SteepCount
    curves: tuple[DescriptorCurve, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ComparedProbability:
    """Probabilities about the first of two groups; None while one of them was not rated."""

    outlasts: float | None
    outlasted: float | None
    stronger: float | None
    liked_more: float | None


@dataclass(frozen=True, slots=True)
class ComparedPair:
    """Two groups compared."""

    first: str
    second: str
    shared_tasters: int
    probability: ComparedProbability
    differences: tuple[Difference, ...]


@dataclass(frozen=True, slots=True)
class ComparisonAnswer:
    """Every group's figures, and every pair in the order of the groups."""

    level: float
    first_infusions: int
    one_even_brew: bool = field(
        metadata=help_text("false when the lots are of kinds with different even brews, which compare less well")
    )
    groups: tuple[ComparedGroup, ...]
    pairs: tuple[ComparedPair, ...]


def comparison_answer(comparison: Comparison) -> ComparisonAnswer:
    """Return the answer, its sentences in the language that is active."""
    return ComparisonAnswer(
        level=LEVEL,
        first_infusions=FIRST_INFUSIONS,
        one_even_brew=comparison.one_even_brew,
        groups=tuple(_group(name, figures) for name, figures in comparison.groups.items()),
        pairs=tuple(map(_pair, comparison.pairs)),
    )


def _group(name: str, figures: Development) -> ComparedGroup:
    return answer_from(
        ComparedGroup,
        figures,
        name=name,
        evidence=evidence_answer(figures.evidence),
        steeps=steeps_answer(figures),
        cautions=tuple(development_cautions(figures)),
    )


def _pair(pair: Pair) -> ComparedPair:
    probability = ComparedProbability(pair.outlasts, pair.outlasted, pair.more(STRENGTH), pair.more(LIKING))
    return answer_from(ComparedPair, pair, probability=probability)
