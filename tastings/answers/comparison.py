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

    name: str = field(metadata=help_text("id of the lot; of one lot its vessel material, shop or water"))
    evidence: Evidence = field(metadata=help_text("what the figures rest on"))
    profile: Profile = field(metadata=help_text("how the strength runs over the infusions"))
    steeps: SteepCount = field(metadata=help_text("how many infusions are worth drinking"))
    curves: tuple[DescriptorCurve, ...] = field(metadata=help_text("one for each descriptor that was rated"))
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ComparedProbability:
    """Probabilities about the first of two groups; None while one of them was not rated."""

    outlasts: float | None = field(metadata=help_text("that it has more infusions worth drinking"))
    outlasted: float | None = field(metadata=help_text("that it has fewer"))
    stronger: float | None = field(metadata=help_text("that it is stronger"))
    liked_more: float | None = field(metadata=help_text("that it is liked more"))


@dataclass(frozen=True, slots=True)
class ComparedPair:
    """Two groups compared."""

    first: str = field(metadata=help_text("name of one group"))
    second: str = field(metadata=help_text("name of the other group"))
    shared_tasters: int
    probability: ComparedProbability = field(
        metadata=help_text("about the first; null while one of them was not rated")
    )
    differences: tuple[Difference, ...] = field(
        metadata=help_text("of the descriptors rated in both, first less second")
    )


@dataclass(frozen=True, slots=True)
class ComparisonAnswer:
    """Every group's figures, and every pair in the order of the groups."""

    level: float
    first_infusions: int
    one_even_brew: bool = field(
        metadata=help_text("false when the lots are of kinds with different even brews, which compare less well")
    )
    groups: tuple[ComparedGroup, ...] = field(metadata=help_text("in the order asked for"))
    pairs: tuple[ComparedPair, ...] = field(metadata=help_text("every two groups"))


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
