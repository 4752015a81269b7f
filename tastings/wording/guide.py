"""The brew guide in words: why this strength, what to change, which standard, what to be careful about."""

from collections.abc import Sequence
from typing import Literal

from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from tastings.maths.guide.answer import Guide, GuideNote
from tastings.maths.guide.plan import SURE_PCT
from tastings.maths.guide.pots import LONG_MUG, STYLES, PotError
from tastings.maths.guide.protocols import Standard
from tastings.maths.guide.remedies import Remedy
from tastings.maths.guide.target import LEAST_CUPS, LEAST_SESSIONS, Target
from tastings.wording import cautions
from tastings.wording.numbers import duration, listed, number, one_decimal, two_decimals


def target_reason(target: Target) -> str:
    """Say which strength the guide aims at and why."""
    if target.reason == "best_liked":
        return _(
            "best liked at %(best)s (80 %% interval %(low)s to %(high)s), from %(cups)s cups of %(sessions)s sessions"
        ) % {
            "best": one_decimal(target.strength),
            "low": one_decimal(target.low),
            "high": one_decimal(target.high),
            "cups": target.cups,
            "sessions": target.sessions,
        }
    instead = _("the strength of the second even-brew infusion instead")
    if target.raised_from is not None:
        instead = _(
            "the strength of the second even-brew infusion instead, raised from %(mean)s to a point above the finish"
            " line"
        ) % {"mean": one_decimal(target.raised_from)}
    return f"{_why_not_liking(target)}; {instead}"


def _why_not_liking(target: Target) -> str:
    low, high = target.top or (0.0, 0.0)
    match target.reason:
        case "too_close":
            return _("the cups rated for liking are within %(span)s points of strength, too close to compare") % {
                "span": one_decimal(target.span or 0.0)
            }
        case "no_clear_top":
            return _("liking has no clear top within the strengths tasted (probability %(probability)s)") % {
                "probability": two_decimals(target.probability or 0.0)
            }
        case "wide_top":
            return _("the best-liked strength is only known to be %(low)s to %(high)s") % {
                "low": one_decimal(low),
                "high": one_decimal(high),
            }
        case "near_finish_line":
            return _("the best-liked strength, %(best)s, is not surely above the finish line") % {
                "best": one_decimal(low)
            }
        case _too_few:
            return _(
                "liking was rated in %(cups)s cups of %(sessions)s sessions, and %(least_cups)s cups of"
                " %(least_sessions)s are needed to tell the best-liked strength"
            ) % {
                "cups": target.cups,
                "sessions": target.sessions,
                "least_cups": LEAST_CUPS,
                "least_sessions": LEAST_SESSIONS,
            }


def remedy(change: Remedy, *, cup: Literal["too_strong", "too_thin"], infusion: int) -> str:
    """Say what to change when the cup is too strong or too thin; the steep is that of one infusion."""
    ways = [*_steep_change(change.steep_s, infusion=infusion), *_leaf_change(change.leaf_g)]
    if not ways:
        return (
            _(
                "Too strong: neither steep nor leaf can change this pot by a whole point; take another pot or other"
                " water."
            )
            if cup == "too_strong"
            else _(
                "Too thin: neither steep nor leaf can change this pot by a whole point; take another pot or other"
                " water."
            )
        )
    sentence = (
        _("Too strong: %(ways)s, for cups about one point weaker.")
        if cup == "too_strong"
        else _("Too thin: %(ways)s, for cups about one point stronger.")
    )
    both = _("%(one)s, or %(other)s") % {"one": ways[0], "other": ways[-1]} if len(ways) > 1 else ways[0]
    return sentence % {"ways": both}


def _steep_change(steep_s: float | None, *, infusion: int) -> list[str]:
    if steep_s is None:
        return []
    if infusion == 1:
        text = _("%(s)s s less") if steep_s < 0 else _("%(s)s s more")
    elif steep_s < 0:
        text = _("%(s)s s less at infusion %(infusion)s, the others in proportion")
    else:
        text = _("%(s)s s more at infusion %(infusion)s, the others in proportion")
    return [text % {"s": number(abs(steep_s)), "infusion": infusion}]


def _leaf_change(leaf_g: float | None) -> list[str]:
    if leaf_g is None:
        return []
    return [(_("%(g)s g less leaf") if leaf_g < 0 else _("%(g)s g more leaf")) % {"g": number(abs(leaf_g))}]


def note(remark: GuideNote) -> str:
    """Say where the times deserve less trust, or the pot should be another."""
    infusions = infusions_named(remark.infusions)
    match remark.code:
        case "too_strong":
            return _("%(infusions)s: even 5 s gives more than the target; take less leaf.") % {"infusions": infusions}
        case "lack_of_fit":
            return _(
                "The ratings of strength do not follow the extraction model, least of all at infusion %(infusion)s:"
                " taste before you trust these times."
            ) % {"infusion": remark.infusions[0]}
        case "guessed_time":
            return _(
                "%(infusions)s: the time is a guess; the cup may well miss its target by more than %(percent)s %%."
                " Taste and adjust."
            ) % {"infusions": infusions, "percent": f"{SURE_PCT:.0f}"}
        case "beyond_tasted":
            return _(
                "From infusion %(infusion)s on go by taste: for a full cup the leaf would be drawn more than twice as"
                " far as in any tasting, so nobody knows yet how long it still gives one."
            ) % {"infusion": remark.infusions[0]}
        case "beyond_rated":
            return _(
                "%(infusions)s: far longer than any steep that was rated (%(longest)s); the strength is predicted from"
                " shorter ones."
            ) % {"infusions": infusions, "longest": duration(remark.longest_rated_s or 0.0)}


def infusions_named(numbers: Sequence[int]) -> str:
    """Name infusions at the start of a sentence.

    >>> infusions_named([3]), infusions_named([3, 4]), infusions_named([1, 3, 6])
    ('Infusion 3', 'Infusions 3 and 4', 'Infusions 1, 3 and 6')
    """
    if len(numbers) == 1:
        return _("Infusion %(number)s") % {"number": numbers[0]}
    if len(numbers) > 2 and numbers[-1] - numbers[0] == len(numbers) - 1:
        return _("Infusions %(first)s to %(last)s") % {"first": numbers[0], "last": numbers[-1]}
    return _("Infusions %(numbers)s") % {"numbers": listed(map(str, numbers))}


def standard_source(standard: Standard) -> str:
    """Say which standard lays the brew down, and what of it is from memory."""
    match standard.code:
        case "iso_3103":
            source = _(
                "ISO 3103:2019: 2 g per 100 ml, boiling water, 6 minutes for black and 5 for green leaf (read in"
                " summaries, not in the standard itself)."
            )
            altitude = _("The standard asks for the altitude to be stated.")
            if standard.has_kind:
                return f"{source} {altitude}"
            other = _("Minutes for %(kind)s tea taken as for black tea.") % {"kind": _kind(standard.kind)}
            return f"{source} {other} {altitude}"
        case "gb_t_23776_bowl":
            return _(
                "GB/T 23776-2018, covered bowl for oolong: 110 ml, boiling water, 2, 3 and 5 minutes (read in"
                " summaries); 5 g of leaf (from memory)."
            )
        case "gb_t_23776_cup":
            return _(
                "GB/T 23776-2018, covered cup, which it has for all but oolong: 3.0 g in 150 ml, 1:50 (read in"
                " summaries); %(minutes)s minutes of boiling water for %(kind)s tea (from memory)."
            ) % {"minutes": listed(number(minute) for minute in standard.minutes), "kind": _kind(standard.kind)}


def _kind(kind: str) -> str:
    return pgettext("kind of lot", kind) if kind else kind


def caffeine_source() -> str:
    """Say where the range of caffeine comes from."""
    return (
        _(
            "Hicks, Hsieh and Bell 1996: 23.8 to 36.6 mg per g of leaf, 69, 23 and 8 %% of it in three five-minute"
            " steeps; class means of a survey up to 43 mg per g; carried over to these steeps by first-order leaching."
            " An estimate, not a measurement of this lot."
        )
        % {}
    )


def guide_cautions(guide: Guide) -> list[str]:
    """Say what to be careful about with this brew."""
    contents = cautions.contents(guide.kind)
    mug = [cautions.long_mug()] if guide.style == LONG_MUG else []
    return [cautions.scalding(), cautions.hot_drink(), contents, *mug]


def pot_problem(error: PotError) -> str:
    """Say what is wrong with a pot that was asked for."""
    values = {name: value if isinstance(value, str) else f"{value:g}" for name, value in error.values.items()}
    match error.rule:
        case "style":
            return _("must be one of %(styles)s") % {"styles": ", ".join(STYLES)}
        case "not_for_style":
            return _("does not go with the style %(style)s: %(why)s") % {**values, "why": _why_not(values["style"])}
        case "iso_pots":
            return _("must be 310 or 150: ISO 3103 knows these two pots")
        case "between":
            return _("must be %(low)s to %(high)s, got %(value)s") % values
        case "leaf_for_water":
            low_g, high_g = (float(error.values[name]) for name in ("low_g", "high_g"))
            return _("must be %(low_g)s to %(high_g)s g for %(vessel_ml)s ml of water") % {
                **values,
                "low_g": f"{low_g:.2g}",
                "high_g": f"{high_g:.3g}",
            }
        case "not_for_herbal":
            return _("%(style)s is laid down for tea, and this lot is herbal") % values
        case "no_standard":
            return _("%(style)s is not laid down by a standard") % values


def _why_not(style: str) -> str:
    match style:
        case "long_mug":
            return _("the leaf is lifted out of the mug, and the mug is the cup")
        case "standard_bowl":
            return _("ISO 3103 lays it down")
        case "covered_bowl":
            return _("GB/T 23776 lays it down")
        case _other:
            return _("it has no such thing")
