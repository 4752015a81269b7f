"""The result of a guide: how to brew a lot in one vessel."""

from dataclasses import dataclass
from typing import Literal

from tastings.maths.guide.guests import Caffeine, Cost, Serving
from tastings.maths.guide.pots import Style, Vessel
from tastings.maths.guide.protocols import Standard
from tastings.maths.guide.remedies import Remedies
from tastings.maths.guide.target import Target


@dataclass(frozen=True, slots=True)
class GuideNote:
    """Why some times deserve less trust, or the pot should be another."""

    # `too_strong`: even the shortest steep gives more than the target. `lack_of_fit`: the ratings do not follow the
    # extraction model, least of all at the infusion named. `guessed_time`: the cup may well miss its target.
    # `beyond_rated`: far longer than any steep that was rated. `beyond_tasted`: the leaf would be drawn more than
    # twice as far as in any session, so the guide ends before the infusion named.
    code: Literal["too_strong", "lack_of_fit", "guessed_time", "beyond_rated", "beyond_tasted"]
    infusions: tuple[int, ...]  # the infusions it is about
    longest_rated_s: float | None = None  # longest contact that was rated, for `beyond_rated` [s]


@dataclass(frozen=True, slots=True)
class GuidedPour:
    """One infusion of the guide."""

    number: int
    # steep_s, pour_s, contact_s: as timed; contact is the steep and half the pour [s]
    steep_s: float
    pour_s: float
    contact_s: float
    # expected_strength, low, high: mean cup with its central 80 % interval; None while nobody has rated the lot's
    # strength [points, 0 to 10]
    expected_strength: float | None
    low: float | None
    high: float | None
    # by how much the cup is likely to miss its target, root mean square over what the leaf may be like; None for an
    # infusion by a standard [% of the target]
    likely_miss_pct: float | None = None
    # weaker_steep_s, stronger_steep_s: the steep for a cup one point weaker or stronger; None when none of 5 to 300 s
    # gives it [s]
    weaker_steep_s: float | None = None
    stronger_steep_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Guide:
    """How to brew a lot in one vessel."""

    style: Style  # one of `tastings.maths.guide.pots.STYLES`
    vessel: Vessel  # with its leaf, which may have been worked out here
    vessel_ml: float  # what it holds to the brim; `vessel.vessel_ml` is the water in it [ml]
    # contact of a rinse that is thrown away; None for none, as where most sessions of the lot had none [s]
    rinse_s: float | None
    # up to 24, the last one worth drinking among them; of a style that is brewed to a strength, none while nobody has
    # rated the lot's
    infusions: tuple[GuidedPour, ...]
    # the last infusion that reaches the target within 300 s, as far as the tastings tell; 0 when none does, None when
    # unknown or by a standard
    last_at_target: int | None
    # the last infusion up to which no cup is likely to miss its target by more than 20 %; beyond it the times are
    # guesses. 0 and None as above
    last_sure: int | None
    # the last infusion of the guide above the finish line with probability at least 0.5; 0 when none is, None when
    # unknown
    last_worthwhile: int | None
    target: Target | None  # what the steeps aim at; None when unknown or by a standard
    change: Remedies | None  # what to do about a cup too strong or too thin
    serving: Serving | None  # leaf and water for the guests; None for an evaluation
    caffeine: Caffeine | None  # None for a herbal lot, or when no infusion is known to be worth drinking
    cost: Cost | None  # None without a price
    standard: Standard | None  # which standard lays it down; None when it was worked out here
    notes: tuple[GuideNote, ...]  # where the times deserve less trust, or the pot should be another
    kind: str  # of the lot, on which depends what it contains

    @property
    def guessed_infusions(self) -> frozenset[int]:
        """Return the infusions whose time is a guess: all after the last sure one, if the guide aimed further."""
        if self.last_sure is None or self.last_at_target is None or self.last_sure >= self.last_at_target:
            return frozenset()
        return frozenset(infusion.number for infusion in self.infusions if infusion.number > self.last_sure)

    @property
    def first_beyond_tasted(self) -> int | None:
        """Return the first infusion that the guide leaves out because the tastings do not reach so far, or None."""
        return next((note.infusions[0] for note in self.notes if note.code == "beyond_tasted"), None)

    @property
    def target_strength(self) -> float | None:
        """Return what the steeps aim at [points]."""
        return None if self.target is None else self.target.strength
