"""The answer of ``GET /lots/{id}/brew-guide``."""

from dataclasses import dataclass, field
from typing import Literal

from tastings.answers.copying import answer_from
from tastings.answers.help_text import help_text
from tastings.maths.guide.answer import Guide, GuidedPour
from tastings.maths.guide.guests import Caffeine, Cost, Serving
from tastings.maths.guide.pots import Style
from tastings.maths.guide.remedies import POINTS, Remedies, Remedy
from tastings.wording import guide as words


@dataclass(frozen=True, slots=True)
class BrewPot:
    """The pot that the guide is for."""

    leaf_g: float = field(
        metadata=help_text("as requested, as the lot was tasted, as the standard says, or computed for a mug")
    )
    vessel_ml: float = field(metadata=help_text("to the brim"))
    water_ml: float = field(metadata=help_text("of one infusion"))
    kettle_c: float = field(
        metadata=help_text("as requested or as the lot was tasted, but never above the boiling point of the place")
    )
    vessel_material: str = field(metadata=help_text("what it is made of"))
    vessel_g: float | None = field(metadata=help_text("null when it was estimated"))
    warmed: bool = field(metadata=help_text("whether it is warm before the leaf goes in"))
    altitude_m: float = field(metadata=help_text("of the place above the sea, m"))


@dataclass(frozen=True, slots=True)
class TargetEvidence:
    """What the target rests on."""

    low: float = field(metadata=help_text("central 80 % of the target"))
    high: float = field(metadata=help_text("upper end of the central 80 % of the target, points"))
    probability: float | None = field(
        metadata=help_text("that liking has its top within the strengths tasted; null when not asked")
    )
    cups: int = field(metadata=help_text("rated for liking"))
    sessions: int = field(metadata=help_text("in how many sessions these cups were"))
    reason: str = field(metadata=help_text("which strength was taken and why"))


@dataclass(frozen=True, slots=True)
class BrewRemedy:
    """One of two changes, not both."""

    steep_s: float | None = field(metadata=help_text("change of the steep, signed"))
    leaf_g: float | None = field(metadata=help_text("or of the leaf, signed"))
    detail: str = field(metadata=help_text("in words"))


@dataclass(frozen=True, slots=True)
class BrewChange:
    """What to change when the cups are too strong or too thin."""

    points: float = field(metadata=help_text("by how many points of strength"))
    infusion: int = field(metadata=help_text("whose steep is to change"))
    too_strong: BrewRemedy = field(metadata=help_text("for cups that are too strong"))
    too_thin: BrewRemedy = field(metadata=help_text("for cups that are too thin"))


@dataclass(frozen=True, slots=True)
class CaffeineRange:
    """Least and most. [mg]."""

    low: float = field(metadata=help_text("least, mg"))
    high: float = field(metadata=help_text("most, mg"))


@dataclass(frozen=True, slots=True)
class BrewCaffeine:
    """An estimate of caffeine, never a measurement."""

    per_cup_mg: CaffeineRange = field(metadata=help_text("of an average cup"))
    per_pot_mg: CaffeineRange = field(metadata=help_text("all worthwhile infusions of one portion of leaf"))
    per_guest_mg: CaffeineRange = field(metadata=help_text("a cup of each of them"))
    source: str = field(metadata=help_text("where the estimate is from, in words"))


@dataclass(frozen=True, slots=True)
class BrewGuide:
    """How to brew a lot in one pot."""

    style: Style = field(metadata=help_text("way of brewing"))
    pot: BrewPot = field(metadata=help_text("the pot that the times are for"))
    rinse_s: float | None = field(
        metadata=help_text(
            "contact of a rinse that is thrown away; null for none, as when most sessions of the lot had none"
        )
    )
    infusions: tuple[GuidedPour, ...] = field(
        metadata=help_text("the infusions to pour; none of a lot whose strength nobody rated, unless by a standard")
    )
    last_at_target: int | None = field(
        metadata=help_text(
            "the last full cup that the tastings can tell: reaches the target within 300 s and 2.5 times the steep"
            " before, the leaf drawn no more than twice as far as in any of them"
        )
    )
    last_sure: int | None = field(
        metadata=help_text("up to here no likely miss is above 20 %; the times beyond are guesses")
    )
    last_worthwhile: int | None = field(
        metadata=help_text(
            "last one above the finish line with probability at least 0.5; 0 when none is, null when unknown"
        )
    )
    target_strength: float | None = field(
        metadata=help_text("strength that the steeps aim at, points, 0 to 10; null when unknown or by a standard")
    )
    target_from: Literal["liking", "second_infusion"] | None = field(
        metadata=help_text("whether that is the best-liked strength or that of the second infusion")
    )
    target_evidence: TargetEvidence | None = field(metadata=help_text("what the target rests on; null as above"))
    change: BrewChange | None = field(
        metadata=help_text("what to do about cups that are too strong or too thin; null when unknown")
    )
    serving: Serving | None = field(metadata=help_text("null for an evaluation"))
    caffeine: BrewCaffeine | None = field(
        metadata=help_text("an estimate, never a measurement; null for a herbal or an unrated lot")
    )
    cost: Cost | None = field(metadata=help_text("of the leaf; null while the lot has no price"))
    source: str | None = field(
        metadata=help_text("the standard, and what of it is from memory; null when worked out here")
    )
    notes: tuple[str, ...] = field(
        metadata=help_text("where the times deserve less trust, or the pot should be another")
    )
    cautions: tuple[str, ...] = field(metadata=help_text("what to be careful about, and the notes"))


def brew_guide_answer(guide: Guide) -> BrewGuide:
    """Return the answer, its sentences in the language that is active."""
    vessel, target = guide.vessel, guide.target
    notes = tuple(words.note(note) for note in guide.notes)
    kettle_c = round(vessel.poured_c, 1)
    return answer_from(
        BrewGuide,
        guide,
        pot=answer_from(BrewPot, vessel, vessel_ml=guide.vessel_ml, water_ml=vessel.vessel_ml, kettle_c=kettle_c),
        target_from=None if target is None else target.chosen_from,
        target_evidence=None
        if target is None
        else answer_from(TargetEvidence, target, reason=words.target_reason(target)),
        change=None if guide.change is None else _change(guide.change),
        caffeine=None if guide.caffeine is None else _caffeine(guide.caffeine),
        source=None if guide.standard is None else words.standard_source(guide.standard),
        notes=notes,
        cautions=(*words.guide_cautions(guide), *notes),
    )


def _change(change: Remedies) -> BrewChange:
    def with_words(remedy: Remedy, cup: Literal["too_strong", "too_thin"]) -> BrewRemedy:
        return BrewRemedy(remedy.steep_s, remedy.leaf_g, words.remedy(remedy, cup=cup, infusion=change.number))

    return BrewChange(
        POINTS, change.number, with_words(change.too_strong, "too_strong"), with_words(change.too_thin, "too_thin")
    )


def _caffeine(caffeine: Caffeine) -> BrewCaffeine:
    """Round to the milligram: more is not known."""

    def whole_mg(both: tuple[float, float]) -> CaffeineRange:
        return CaffeineRange(float(round(both[0])), float(round(both[1])))

    return BrewCaffeine(
        whole_mg(caffeine.per_cup_mg),
        whole_mg(caffeine.per_pot_mg),
        whole_mg(caffeine.per_guest_mg),
        words.caffeine_source(),
    )
