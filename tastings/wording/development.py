"""How a lot's flavour develops, in words: departures, the counterfactual, what to taste next, what is left out."""

from collections.abc import Iterable, Mapping, Sequence

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from tastings.maths.brewing.even_brew import EvenBrew
from tastings.maths.brewing.water import differing_minerals
from tastings.maths.curve.counterfactual import Counterfactual
from tastings.maths.curve.departures import Departure
from tastings.maths.curve.development import Development, LackOfFitAt
from tastings.maths.curve.layers import Layer
from tastings.maths.curve.next_session import NextSession
from tastings.maths.curve.turning_point import TurningPoint, turning_point
from tastings.wording import cautions
from tastings.wording.labels import PROFILE_NOUNS, descriptor_in_sentence, label
from tastings.wording.numbers import (
    capitalised,
    isolated,
    listed,
    number,
    one_decimal,
    ordinal,
    percent_or_beyond,
    two_decimals,
)

Labels = Mapping[str, str]
HOT_C, COOL_C = 90.0, 85.0
"""Above the first a tasting with cooler water shows how the leaf answers to heat, above the second one with hotter
water; what is brewed cooler still is brewed so on purpose (common practice, no source), so either will do."""
NOTABLE_CONTACT = 1.25
"""How many times the even brew's contact is named as what made cups stronger, or its inverse weaker (own rule)."""


def flavour_sentence(
    layers: Sequence[Layer],
    *,
    labels: Labels,
    steeps: int | None = None,
    points: Mapping[str, Sequence[float]] | None = None,
) -> str:
    """Say what changes from cup to cup, as one would over the counter.

    ``layers`` are one per infusion; a key without one of the ``labels`` is written with spaces. Of infusions beyond
    ``steeps``, those worth drinking, no change is said. ``points`` of each flavour at infusion 1, 2, … tell whether
    only the others' fading brings it forward, which is said then.

    >>> cups = [("honey", "malt")] * 3 + [("pine", "stone_fruit")] * 3
    >>> layers = [Layer(n, leading, (), (), 2.0) for n, leading in enumerate(cups, start=1)]
    >>> flavour_sentence(layers, labels={"honey": "Honey"})
    'Honey and malt give way to pine and stone fruit after the third.'
    """
    whole, layers = layers, [layer for layer in layers if not steeps or layer.infusion <= steeps]
    if not layers or (len(layers) == 1 and not layers[0].leading):
        return _("We cannot tell yet what changes from cup to cup.")
    if not any(layer.leading for layer in layers):
        return _("No flavour stands out in any cup.")
    turn = turning_point(layers, points=points)
    if turn is None:
        only = layers[0]
        return capitalised(
            ngettext("%(flavours)s leads the %(nth)s cup.", "%(flavours)s lead the %(nth)s cup.", len(only.leading))
            % {"flavours": _flavours(only.leading, labels), "nth": ordinal(only.infusion)}
        )
    last = max(layer.infusion for layer in layers)
    ends = {key: _end_of(key, whole, at_most=last) for key in turn.staying}
    return capitalised(_turn(turn, labels=labels, last=last, ends=ends))


def _end_of(key: str, layers: Sequence[Layer], *, at_most: int) -> int | None:
    """Return the last infusion that a flavour leads where it is gone in a later one, else None."""
    last_led = max(layer.infusion for layer in layers if key in layer.leading)
    is_gone = any(key in layer.gone for layer in layers if layer.infusion > last_led)
    return min(last_led, at_most) if is_gone else None


def _turn(turn: TurningPoint, *, labels: Labels, last: int, ends: Mapping[str, int | None]) -> str:
    """Say what changes; ``ends`` has of each flavour that stays the last infusion before it is gone, None if never."""
    at_once = [key for key, gone_after in zip(turn.going, turn.gone_after, strict=True) if gone_after <= turn.after + 1]
    going, coming, left = (_flavours(keys, labels) for keys in (at_once, turn.coming, turn.left))
    words = {"going": going, "coming": coming, "left": left, "nth": ordinal(turn.after)}
    clauses = []
    match bool(at_once), bool(turn.coming):
        case True, True:
            sentence = ngettext(
                "%(going)s gives way to %(coming)s after the %(nth)s",
                "%(going)s give way to %(coming)s after the %(nth)s",
                len(at_once),
            )
            clauses.append(sentence % words)
        case True, False:
            sentence = ngettext(
                "%(going)s steps back after the %(nth)s", "%(going)s step back after the %(nth)s", len(at_once)
            )
            clauses.append(sentence % words)
        case False, True:
            sentence = ngettext(
                "%(coming)s comes to the fore after the %(nth)s",
                "%(coming)s come to the fore after the %(nth)s",
                len(turn.coming),
            )
            clauses.append(sentence % words)
        case _neither:
            if not turn.going and (turn.staying or not turn.left):
                clauses.append(_constant(turn, flavours=_flavours(turn.staying, labels), last=last))
    clauses += _step_back_later(turn, labels=labels)
    if turn.going or turn.coming:
        clauses += [_stays(keys, labels=labels, end=end) for end, keys in _by_end(turn, ends)]
    if turn.left and (turn.going or turn.coming):
        sentence = ngettext(
            "%(left)s stands out from then on, only because the others fade",
            "%(left)s stand out from then on, only because the others fade",
            len(turn.left),
        )
        clauses.append(sentence % words)
    elif turn.left:
        sentence = ngettext(
            "%(left)s stands out after the %(nth)s, only because the others fade",
            "%(left)s stand out after the %(nth)s, only because the others fade",
            len(turn.left),
        )
        clauses.append(sentence % words)
    return f"{'; '.join(clauses)}."


def _step_back_later(turn: TurningPoint, *, labels: Labels) -> list[str]:
    """Say of flavours that still lead when others have come after which infusion they do so no more."""
    clauses = []
    for last in sorted({gone_after for gone_after in turn.gone_after if gone_after > turn.after + 1}):
        keys = [key for key, gone_after in zip(turn.going, turn.gone_after, strict=True) if gone_after == last]
        sentence = ngettext(
            "%(going)s steps back after the %(nth)s", "%(going)s step back after the %(nth)s", len(keys)
        )
        clauses.append(sentence % {"going": _flavours(keys, labels), "nth": ordinal(last)})
    return clauses


def _by_end(turn: TurningPoint, ends: Mapping[str, int | None]) -> list[tuple[int | None, list[str]]]:
    """Group the flavours that stay by the infusion after which they are gone, those that are never gone first."""
    last_infusions = sorted({ends[key] for key in turn.staying}, key=lambda end: (end is not None, end))
    return [(end, [key for key in turn.staying if ends[key] == end]) for end in last_infusions]


def _stays(keys: Sequence[str], *, labels: Labels, end: int | None) -> str:
    flavours = _flavours(keys, labels)
    if end is None:
        sentence = ngettext("%(staying)s stays throughout", "%(staying)s stay throughout", len(keys))
        return sentence % {"staying": flavours}
    sentence = ngettext("%(staying)s stays up to the %(nth)s", "%(staying)s stay up to the %(nth)s", len(keys))
    return sentence % {"staying": flavours, "nth": ordinal(end)}


def _constant(turn: TurningPoint, *, flavours: str, last: int) -> str:
    if not turn.staying:
        return _("no flavour leads for long: what stands out changes from cup to cup")
    return ngettext(
        "%(flavours)s leads from the first cup to the %(nth)s",
        "%(flavours)s lead from the first cup to the %(nth)s",
        len(turn.staying),
    ) % {"flavours": flavours, "nth": ordinal(last)}


def _flavours(keys: Sequence[str], labels: Labels) -> str:
    return listed(isolated(descriptor_in_sentence(key, labels)) for key in keys)


def departure_detail(departure: Departure) -> str:
    """Say how a pour departed, and what that did to the cup."""
    return f"{_how_it_departed(departure)}; {_effect(departure)}"


def _how_it_departed(departure: Departure) -> str:
    was, usual = departure.was, departure.usual or 0.0
    values = {"was": f"{was:.0f}", "usual": f"{usual:.0f}"}
    match departure.kind, departure.whole_session:
        case "cold_vessel", _any:
            return _("the vessel was not warmed: the water settled at %(was)s °C instead of %(usual)s °C") % values
        case "leaf_ratio", True:
            return _("%(leaf_g)s g of leaf in %(water_ml)s ml, %(ratio)s times the even brew's") % {
                "leaf_g": number(departure.leaf_g),
                "water_ml": number(was),
                "ratio": two_decimals(departure.ratio or 0.0),
            }
        case "leaf_ratio", False:
            return _("%(was)s ml of water against %(usual)s ml usual in this session") % {
                "was": number(was),
                "usual": number(usual),
            }
        case "cool_water", True if departure.at_boiling_point:
            return (
                _(
                    "water of about %(was)s °C all through, the boiling point at this height, against the even brew's"
                    " %(usual)s °C"
                )
                % values
            )
        case "cool_water", True:
            return _("water of about %(was)s °C all through, against the even brew's %(usual)s °C") % values
        case "cool_water", False:
            return _("water of %(was)s °C against %(usual)s °C usual in this session") % values
        case _steep, True:
            return _("a contact of about %(was)s s all through, against %(usual)s s of the even brew") % values
        case _steep, _one_infusion:
            return _("a contact of %(was)s s against about %(usual)s s of the infusions around it") % values


def _effect(departure: Departure) -> str:
    points = {"points": one_decimal(abs(departure.effect))}
    match departure.n_cups > 1, departure.effect > 0:
        case True, True:
            return _("cups on average about %(points)s points stronger") % points
        case True, False:
            return _("cups on average about %(points)s points weaker") % points
        case False, True:
            return _("cup about %(points)s points stronger") % points
        case _one_weaker_cup:
            return _("cup about %(points)s points weaker") % points


def counterfactual_sentence(figures: Counterfactual, *, even_brew: EvenBrew) -> str:
    """Name the infusion that the brewing moved most; empty when it moved none by much."""
    most = figures.most_moved
    if most is None:
        return ""
    times_the_even = most.contact_s / even_brew.contact_s
    if times_the_even >= NOTABLE_CONTACT if most.brewing > 0 else times_the_even <= 1 / NOTABLE_CONTACT:
        sentence = _(
            "With a contact of about %(contact)s s instead of the even brew's %(even)s s, infusion %(infusion)s"
            " averages %(shown)s points of %(descriptor)s in %(n)s ratings; on the even brew it would be about"
            " %(without)s."
        )
    elif most.brewing > 0:
        sentence = _(
            "Brewed stronger than the even brew, infusion %(infusion)s averages %(shown)s points of %(descriptor)s in"
            " %(n)s ratings; on the even brew it would be about %(without)s."
        )
    else:
        sentence = _(
            "Brewed weaker than the even brew, infusion %(infusion)s averages %(shown)s points of %(descriptor)s in"
            " %(n)s ratings; on the even brew it would be about %(without)s."
        )
    return sentence % {
        "n": most.ratings,
        "descriptor": descriptor_in_sentence(figures.descriptor),
        "infusion": most.infusion,
        "without": one_decimal(most.without),
        "shown": one_decimal(most.shown),
        "contact": f"{most.contact_s:.0f}",
        "even": f"{even_brew.contact_s:.0f}",
    }


def next_session_sentence(session: NextSession) -> str:
    """Say what one more session would most usefully settle."""
    low, high = session.low or 0.0, session.high or 0.0
    match session.code:
        case "first_session":
            return _("Taste a first session, rating the strength of every infusion.")
        case "rate_strength":
            return _(
                "Rate the strength of every infusion: without it neither course nor number of infusions can be told."
            )
        case "pour_further":
            return _(
                "Pour further: strength is rated up to infusion %(reach)s only, and the last one worth drinking may be"
                " infusion %(high)s (80 %% interval %(low)s to %(high)s)."
            ) % {"reach": session.reach, "low": session.steeps_low, "high": session.steeps_high}
        case "second_taster":
            return ngettext(
                "Let a second taster brew it: the only session so far came from one taster, whose own scale is in the"
                " figures.",
                "Let a second taster brew it: all %(n)s sessions so far came from one taster, whose own scale is in the"
                " figures.",
                session.sessions or 1,
            ) % {"n": session.sessions}
        case "join_late":
            return _(
                "Let one taster join at infusion %(infusion)s, the cups before it marked as not tasted: whether the"
                " late cups seem weak because tasters tire (%(probability)s probable) or because the leaf gives less is"
                " open."
            ) % {"infusion": session.infusion, "probability": percent_or_beyond(session.probabilities[0])}
        case "profile":
            first, second = (label(PROFILE_NOUNS, name) for name in session.labels)
            return _(
                "Rate infusions 1 to 5 of an even brew: %(first)s (%(p_first)s) and %(second)s (%(p_second)s) are not"
                " yet told apart."
            ) % {
                "first": first,
                "second": second,
                "p_first": percent_or_beyond(session.probabilities[0]),
                "p_second": percent_or_beyond(session.probabilities[1]),
            }
        case "infusion":
            return _(
                "Rate infusion %(infusion)s of an even brew once more: its strength is the least certain, %(low)s to"
                " %(high)s."
            ) % {"infusion": session.infusion, "low": one_decimal(low), "high": one_decimal(high)}
        case "heat":
            return _other_heat(low, high)
        case "little":
            return _(
                "Little is open: the strength of every infusion is known to within %(points)s points either way."
            ) % {"points": one_decimal(session.within or 0.0)}


def _other_heat(low_c: float, high_c: float) -> str:
    if high_c <= COOL_C:
        sentence = _(
            "Brew it once with water hotter or cooler by 5 °C or more: every rated infusion so far was"
            " poured at %(low)s to %(high)s °C, so how the leaf answers to heat is assumed, not seen."
        )
    elif high_c <= HOT_C:
        sentence = _(
            "Brew it once with hotter water: every rated infusion so far was poured at %(low)s to %(high)s"
            " °C, so how the leaf answers to heat is assumed, not seen."
        )
    else:
        sentence = _(
            "Brew it once with cooler water: every rated infusion so far was poured at %(low)s to %(high)s °C,"
            " so how the leaf answers to heat is assumed, not seen."
        )
    return sentence % {"low": f"{low_c:.0f}", "high": f"{high_c:.0f}"}


def development_cautions(
    figures: Development, *, kind: str = "", water_tds_mg_l: Iterable[float | None] = ()
) -> list[str]:
    """Say what to be careful about when tasting, and which curves deserve less trust.

    Caffeine depends on ``kind``, empty where not known. ``water_tds_mg_l``: dissolved solids, where known [mg/l].
    """
    minerals = differing_minerals(water_tds_mg_l)
    waters = [] if minerals is None else [cautions.differing_waters(*minerals)]
    contents = [] if figures.leaf_range_g is None else [cautions.contents(kind)]
    return [cautions.scalding(), cautions.hot_drink(), *contents, *waters, *map(_lack_of_fit, figures.lack_of_fit)]


def _lack_of_fit(worst: LackOfFitAt) -> str:
    return _(
        "The curve of %(descriptor)s is a smooth of the adjusted ratings: they do not follow the extraction model,"
        " least of all at infusion %(infusion)s."
    ) % {"descriptor": descriptor_in_sentence(worst.descriptor), "infusion": worst.infusion}
