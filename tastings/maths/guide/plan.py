"""Steep times for a particular pot that keep the cup at one strength, and where it can no longer be kept.

The lot's posterior is carried into the pot at hand: its leaf and water, its heat, how long it takes to pour. Each steep
is chosen so that the mean cup meets the target, given the steeps before it as they are really timed. Once that would
take more than five minutes, or 2.5 times the steep before, the cups before were the last full ones: one longest steep
follows, with what it still gives. A full cup is foretold only while the leaf is drawn no more than twice as far as in
any session that rated it: beyond, it hangs on the form of the model, and where taste saturates the cups came out far
too weak (``docs/guide.md``). There the guide ends.

A time is only as good as what is known of the leaf: late, long steeps lie far from what was tasted. Over the leaves
that the tastings leave possible, each cup has a likely miss; in simulated lots that the method does not assume, cups of
which it is at most 20 % held within 12 % of their target (``docs/guide.md``), and the others did not.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf, sqrt

import numpy as np
import scipy

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import Brew, Pour, TasterScale
from tastings.maths.brewing.even_brew import MOST_INFUSIONS, even_brew_of
from tastings.maths.brewing.heat import contact_s
from tastings.maths.curve.endings import FinishLine
from tastings.maths.curve.profile import summarise_cups
from tastings.maths.guide.answer import Guide, GuidedPour, GuideNote
from tastings.maths.guide.guests import Price, caffeine, cost, serving
from tastings.maths.guide.leaf import STRENGTH, KnownLeaf, Leaf, known_leaf
from tastings.maths.guide.pots import (
    COVERED_BOWL,
    CUP_ML,
    LONG_MUG,
    MUG_ML,
    MUG_RATIO,
    SMALL_POT,
    STANDARD_BOWL,
    PotRequest,
    Vessel,
    leaf_range_g,
    mug,
    small_pot,
)
from tastings.maths.guide.protocols import HERBAL, Standard, protocol
from tastings.maths.guide.remedies import POINTS, AlternativeSteeps, Remedies, remedies
from tastings.maths.guide.target import Target, target_of
from tastings.maths.guide.timing import NextPour, timed_s
from tastings.maths.guide.usual_brew import UsualBrew

__all__ = ["Guide", "PotRequest", "Tea", "brew_guide"]

RINSE_S = 10.0
MUG_STEEP_S = 240.0
MUG_LEAF_STEP_G = 0.5
LONG_STEP = 2.0  # a contact so many times the longest one rated is called beyond what was tasted
FARTHEST = 2.0  # and so is leaf that is drawn so many times as far as where its last cup was rated
SURE_PCT = 20.0
ENOUGH = 0.5


@dataclass(frozen=True, slots=True)
class Tea:
    """What is known of the lot beside its tastings: class of tea, and what it costs."""

    kind: str = ""
    price: Price | None = None


def brew_guide(  # noqa: PLR0913 - each is one of the question's own words
    brews: Sequence[Brew],
    *,
    pot: PotRequest,
    tea: Tea | None = None,
    scales: Mapping[str, Mapping[str, TasterScale]] | None = None,
    line: FinishLine | None = None,
    rounded: bool = True,
) -> Guide:
    """Return how to brew a lot in a pot.

    Parameters
    ----------
    brews : Sequence[Brew]
        The lot's sessions.
    pot : PotRequest
        What it is to be brewed in, in which style, for whom.
    tea : Tea, optional
        Class of tea, on which evaluations and caffeine depend, and price.
    scales, line
        As in :func:`tastings.maths.curve.estimate.estimate_development`.
    rounded : bool
        Whether steeps are rounded to what a person can time.

    Returns
    -------
    Guide
        The same for the same input.

    Raises
    ------
    PotError
        The pot does not go with its style, or its cups cannot be predicted.
    BrewError
        A number of a brew cannot be one.
    """
    request = _Request(pot=pot, tea=tea or Tea(), rounded=rounded)
    request.check()  # before anything is fitted
    even_brew = even_brew_of(request.tea.kind)
    known = known_leaf(brews, even_brew=even_brew, scales=scales, line=line)
    if pot.style in (STANDARD_BOWL, COVERED_BOWL):
        return request.by_standard(known)
    usual = UsualBrew.of(known.followed) or UsualBrew.of_even_brew(even_brew)
    request = replace(request, pot=usual.filled(pot), rinsed=usual.rinsed)
    return request.long_mug(known) if pot.style == LONG_MUG else request.small_pot(known)


@dataclass(slots=True)
class _Draft:
    """A guide as far as it is planned."""

    vessel: Vessel
    cup_ml: float
    vessel_ml: float
    before: tuple[Pour, ...] = ()
    rinse_s: float | None = None
    standard: Standard | None = None
    target: Target | None = None
    infusions: tuple[GuidedPour, ...] = ()
    worthwhile: int = 0
    at_target: int = 0
    sure: int = 0
    beyond_tasted: int | None = None
    too_strong: tuple[int, ...] = ()
    change: Remedies | None = None


@dataclass(frozen=True, slots=True)
class _Request:
    """What is asked for: the pot, the tea, how exact."""

    pot: PotRequest
    tea: Tea
    rounded: bool
    rinsed: bool = True

    def check(self) -> None:
        self.pot.check_fit()
        if self.pot.style == SMALL_POT:
            small_pot(self.pot)
        elif self.pot.style == LONG_MUG:
            mug(self.pot, leaf_g=self._middle_g())
        else:
            protocol(self.pot, kind=self.tea.kind)

    def small_pot(self, known: KnownLeaf) -> Guide:
        vessel = small_pot(self.pot)
        draft = _Draft(
            vessel=vessel,
            cup_ml=self.pot.cup_ml or (CUP_ML if (self.pot.guests or 1) > 1 else vessel.vessel_ml),
            vessel_ml=vessel.vessel_ml,
        )
        if self.rinsed:
            draft.rinse_s = RINSE_S
            draft.before = (replace(vessel.pour(0, steep_s=RINSE_S), pour_s=0.0),)
        if known.leaf is not None:
            self._add_infusions(
                draft,
                leaf=known.leaf,
                target=target_of(known),
                infusions=MOST_INFUSIONS,
                farthest_s=FARTHEST * known.farthest_rated_s,
            )
        return self._finished(draft, known=known)

    def long_mug(self, known: KnownLeaf) -> Guide:
        target = None if known.leaf is None else target_of(known)
        leaf_g = self._middle_g()
        if known.leaf is not None and target is not None and self.pot.leaf_g is None:
            leaf_g = self._mug_leaf_g(known.leaf, target=target.strength)
        vessel = mug(self.pot, leaf_g=leaf_g)
        draft = _Draft(vessel=vessel, cup_ml=vessel.vessel_ml, vessel_ml=vessel.vessel_ml)
        if known.leaf is not None and target is not None:
            self._add_infusions(draft, leaf=known.leaf, target=target, infusions=1)
        return self._finished(draft, known=known)

    def by_standard(self, known: KnownLeaf) -> Guide:
        laid_down = protocol(self.pot, kind=self.tea.kind)
        vessel = laid_down.vessel
        draft = _Draft(
            vessel=vessel, cup_ml=vessel.vessel_ml, vessel_ml=laid_down.vessel_ml, standard=laid_down.standard
        )
        for number, steep_s in enumerate(laid_down.steeps_s, start=1):
            draft.before = (*draft.before, vessel.pour(number, steep_s=steep_s))
            cups = None
            if known.leaf is not None:
                cups = known.leaf.cups(vessel.brew(draft.before))[:, -1]
                draft.worthwhile = number if known.leaf.worth(cups) >= ENOUGH else draft.worthwhile
            draft.infusions = (*draft.infusions, _guided_pour(draft.before[-1], cups=cups))
        return self._finished(draft, known=known)

    def _mug_ml(self) -> float:
        return MUG_ML if self.pot.vessel_ml is None else self.pot.vessel_ml

    def _middle_g(self) -> float:
        """Return a weight of leaf that stands for any while nothing is known of the lot [g]."""
        low_g, high_g = leaf_range_g(vessel_ml=self._mug_ml(), ratio=MUG_RATIO)
        return round(sqrt(low_g * high_g) / MUG_LEAF_STEP_G) * MUG_LEAF_STEP_G

    def _mug_leaf_g(self, leaf: Leaf, *, target: float) -> float:
        """Return the leaf that gives the target in four minutes, as a kitchen balance shows it [g]."""
        low_g, high_g = leaf_range_g(vessel_ml=self._mug_ml(), ratio=MUG_RATIO)

        def off(leaf_g: float) -> float:
            vessel = mug(self.pot, leaf_g=leaf_g)
            return float(leaf.cups(vessel.brew((vessel.pour(1, steep_s=MUG_STEEP_S),)))[:, 0].mean()) - target

        if off(low_g) >= 0:
            found_g = low_g
        elif off(high_g) <= 0:
            found_g = high_g
        else:
            found_g = float(scipy.optimize.brentq(off, low_g, high_g, xtol=0.01))
        steps = max(round(found_g / MUG_LEAF_STEP_G), 1)
        return min(max(steps * MUG_LEAF_STEP_G, low_g), high_g)

    def _add_infusions(
        self, draft: _Draft, *, leaf: Leaf, target: Target, infusions: int, farthest_s: float = inf
    ) -> None:
        """Add infusions that keep the cup at the target, and the last one, which no longer can.

        For a full cup no infusion but the first draws the leaf further than ``farthest_s`` of contact at 100 deg C.
        """
        draft.target = target
        changed: AlternativeSteeps | None = None
        for number in range(1, infusions + 1):
            look = NextPour.after(draft.before, number=number, vessel=draft.vessel, leaf=leaf)
            steep = look.steep_for(target.strength)
            steep_s = timed_s(steep.steep_s) if self.rounded else steep.steep_s
            if number > 1 and steep.reached and look.drawn_s(steep_s) > farthest_s:
                draft.beyond_tasted = number
                break
            cups = look.cups(steep_s)
            miss_pct = 100 * float(np.sqrt(np.mean((cups / target.goal - 1) ** 2)))
            draft.worthwhile = number if leaf.worth(cups) >= ENOUGH else draft.worthwhile
            draft.at_target = number if steep.reached else draft.at_target
            if steep.reached and miss_pct <= SURE_PCT and draft.sure == number - 1:
                draft.sure = number
            if steep.too_strong:
                draft.too_strong = (*draft.too_strong, number)
            expected = float(cups.mean())
            steeps = AlternativeSteeps(number, steep_s, look.about(expected - POINTS), look.about(expected + POINTS))
            draft.before = (*draft.before, draft.vessel.pour(number, steep_s=steep_s))
            draft.infusions = (
                *draft.infusions,
                replace(
                    _guided_pour(draft.before[-1], cups=cups),
                    likely_miss_pct=miss_pct,
                    weaker_steep_s=steeps.weaker_s,
                    stronger_steep_s=steeps.stronger_s,
                ),
            )
            if changed is None or (number == 2 and steep.reached):
                changed = steeps
            if not steep.reached and (draft.at_target or draft.worthwhile < number):
                break
        if changed is not None:
            at_target = tuple(pour for pour in draft.before if pour.number <= max(draft.at_target, changed.number))
            draft.change = remedies(changed, vessel=draft.vessel, leaf=leaf, pours=at_target)

    def _finished(self, draft: _Draft, *, known: KnownLeaf) -> Guide:
        rounds = None if known.leaf is None else draft.worthwhile
        drunk = draft.worthwhile if draft.standard is None else len(draft.infusions)  # an evaluation tastes every one
        served = draft.standard is None
        return Guide(
            style=self.pot.style,
            vessel=draft.vessel,
            vessel_ml=draft.vessel_ml,
            rinse_s=draft.rinse_s,
            infusions=draft.infusions,
            last_at_target=None if draft.target is None else draft.at_target,
            last_sure=None if draft.target is None else draft.sure,
            last_worthwhile=rounds,
            target=draft.target,
            change=draft.change,
            serving=serving(
                vessel=draft.vessel,
                guests=self.pot.guests or 1,
                cup_ml=draft.cup_ml,
                rounds=rounds,
                rinsed=draft.rinse_s is not None,
            )
            if served
            else None,
            caffeine=caffeine(
                vessel=draft.vessel, kind=self.tea.kind, pours=draft.before, cup_ml=draft.cup_ml, rounds=drunk
            )
            if self.tea.kind != HERBAL
            else None,
            cost=cost(self.tea.price, vessel=draft.vessel, cup_ml=draft.cup_ml, rounds=drunk),
            standard=draft.standard,
            notes=_notes(draft, known=known),
            kind=self.tea.kind,
        )


def _notes(draft: _Draft, *, known: KnownLeaf) -> tuple[GuideNote, ...]:
    """Return where the times of this lot in this pot deserve less trust, or another pot."""
    notes = []
    drunk = draft.infusions[: draft.worthwhile or len(draft.infusions)]
    if draft.too_strong:
        notes.append(GuideNote("too_strong", draft.too_strong))
    if known.lack_of_fit_at is not None:
        notes.append(GuideNote("lack_of_fit", (known.lack_of_fit_at,)))
    if draft.target is not None and draft.sure < min(draft.at_target, len(drunk)):
        notes.append(GuideNote("guessed_time", tuple(pour.number for pour in drunk if pour.number > draft.sure)))
    longest_s = _longest_rated_s(known)
    beyond = tuple(pour.number for pour in drunk if longest_s and pour.contact_s > LONG_STEP * longest_s)
    if draft.beyond_tasted is not None:
        notes.append(GuideNote("beyond_tasted", (draft.beyond_tasted,)))
    if beyond:
        notes.append(GuideNote("beyond_rated", beyond, longest_rated_s=longest_s))
    return tuple(notes)


def _guided_pour(pour: Pour, *, cups: FloatArray | None) -> GuidedPour:
    contact = contact_s(pour)
    shown = None if cups is None else summarise_cups(cups[:, None])
    return GuidedPour(
        number=pour.number,
        steep_s=pour.steep_s,
        pour_s=2 * (contact - pour.steep_s),
        contact_s=contact,
        expected_strength=None if shown is None else float(shown.mean[0]),
        low=None if shown is None else float(shown.low[0]),
        high=None if shown is None else float(shown.high[0]),
    )


def _longest_rated_s(known: KnownLeaf) -> float:
    contacts = [
        float(s.steeping.contact_s[place]) for s in known.followed for place in s.rated_indexes(STRENGTH).tolist()
    ]
    return max(contacts, default=0.0)
