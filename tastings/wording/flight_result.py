"""The result of a blind flight in sentences."""

from collections.abc import Mapping, Sequence

from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from tastings.maths.flights.further_cups import FurtherCups
from tastings.maths.flights.result import FlightResult
from tastings.maths.flights.standings import Standing
from tastings.wording.numbers import listed, one_decimal

INDISTINGUISHABLE = 1.5
"""Below this multiple of a fair share of being best the leader is not set apart from the others."""
LEAST_NAMED = 0.1
"""Lots with at least this probability of being best are named beside the leader, three at most."""
LEAST_GAIN_P_RIGHT = 0.02
"""A further tasting that makes the right choice likelier by less than this is not mentioned."""
LEAST_POINTS = 0.05
"""A lead that one decimal would write as 0.0 is put in words. [points]"""

Names = Mapping[str, str]
"""Names of lots and tasters by id; a missing one is written as its id."""


def result_sentences(result: FlightResult, *, names: Names) -> str:
    """Say in one to three sentences which lot is best, how sure that is, and what more tasting would change."""
    if not result.standings:
        return _("No cup has been tasted yet.")
    leader, others = result.standings[0], result.standings[1:]
    if not others:
        return _("Only %(lot)s has been tasted, so there is nothing to choose between.") % {
            "lot": names.get(leader.lot, leader.lot)
        }
    sentences = [_settled(leader, others, names) if result.settled else _unsettled(leader, others, names)]
    untasted = [names.get(standing.lot, standing.lot) for standing in result.standings if not standing.cups]
    if untasted:
        sentence = ngettext("%(lots)s has not been tasted.", "%(lots)s have not been tasted.", len(untasted))
        sentences.append(sentence % {"lots": listed(untasted)})
    best = next(iter(result.next), None)
    if not result.settled and best is not None and best.gain_p_right >= LEAST_GAIN_P_RIGHT:
        has_one_taster = len({taster for further in result.next for taster in further.tasters}) == 1
        sentences.append(_advice(best, names, has_one_taster=has_one_taster))
    return " ".join(sentences)


def _settled(leader: Standing, others: Sequence[Standing], names: Names) -> str:
    points = leader.mean - others[0].mean
    if len(others) == 1:
        sentence = (
            _(
                "%(lot)s is the better of the two lots, %(points)s points above %(second)s; "
                "that is right in %(cases)s of 100 such cases."
            )
            if points >= LEAST_POINTS
            else _(
                "%(lot)s is the better of the two lots, hardly above %(second)s; "
                "that is right in %(cases)s of 100 such cases."
            )
        )
    else:
        sentence = (
            _(
                "%(lot)s is the best of the %(n)s lots, %(points)s points above %(second)s; "
                "that is right in %(cases)s of 100 such cases."
            )
            if points >= LEAST_POINTS
            else _(
                "%(lot)s is the best of the %(n)s lots, hardly above %(second)s; "
                "that is right in %(cases)s of 100 such cases."
            )
        )
    return sentence % _values(leader, others, names)


def _unsettled(leader: Standing, others: Sequence[Standing], names: Names) -> str:
    likeliest = sorted(others, key=lambda lot: -lot.p_best)
    values = _values(leader, others, names)
    if max(leader.p_best, likeliest[0].p_best) < INDISTINGUISHABLE / (len(others) + 1):
        return _("The %(n)s lots cannot be told apart by these cups; %(lot)s is ahead, but only just.") % values
    rivals = [lot for lot in likeliest if lot.p_best >= LEAST_NAMED][:3] or likeliest[:1]
    sentence = (
        _(
            "Which of the %(n)s lots is best cannot be told yet: %(lot)s is ahead, %(points)s points above %(second)s, "
            "and is the best in %(cases)s of 100 such cases, against %(rivals)s."
        )
        if leader.mean - others[0].mean >= LEAST_POINTS
        else _(
            "Which of the %(n)s lots is best cannot be told yet: %(lot)s is ahead, hardly above %(second)s, "
            "and is the best in %(cases)s of 100 such cases, against %(rivals)s."
        )
    )
    return sentence % {
        **values,
        "rivals": listed(f"{names.get(rival.lot, rival.lot)} ({_in_100(rival.p_best)})" for rival in rivals),
    }


def _values(leader: Standing, others: Sequence[Standing], names: Names) -> dict[str, object]:
    second = others[0]
    return {
        "lot": names.get(leader.lot, leader.lot),
        "second": names.get(second.lot, second.lot),
        "n": _in_words(len(others) + 1),
        "points": one_decimal(leader.mean - second.mean),
        "cases": _in_100(leader.p_best),
    }


def _advice(best: FurtherCups, names: Names, *, has_one_taster: bool) -> str:
    if has_one_taster:
        sentence = _(
            "If %(lots)s were tasted side by side %(times)s, the lot then chosen could be expected to be the best in "
            "%(after)s of 100 cases instead of %(before)s."
        )
    elif len(best.tasters) == 1:
        sentence = _(
            "If %(lots)s were tasted side by side %(times)s by %(taster)s, the lot then chosen could be expected to be "
            "the best in %(after)s of 100 cases instead of %(before)s."
        )
    else:
        sentence = _(
            "If %(lots)s were tasted side by side %(times)s by all %(n)s tasters, the lot then chosen could be "
            "expected to be the best in %(after)s of 100 cases instead of %(before)s."
        )
    return sentence % {
        "lots": listed(names.get(lot, lot) for lot in best.lots),
        "times": _times_more(best.times),
        "taster": names.get(best.tasters[0], best.tasters[0]),
        "n": _in_words(len(best.tasters)),
        "before": _in_100(best.p_right - best.gain_p_right),
        "after": _in_100(best.p_right),
    }


def _times_more(times: int) -> str:
    match times:
        case 1:
            return pgettext("how often", "once more")
        case 2:
            return pgettext("how often", "twice more")
        case _:
            return pgettext("how often", "%(n)s times more") % {"n": _in_words(times)}


def _in_100(probability: float) -> str:
    """Write a probability as so many in a hundred; neither never nor always is claimed."""
    # rounded first as the figures are sent, so that text and figures say the same
    return str(min(max(round(100 * round(probability, 3)), 1), 99))


def _in_words(n: int) -> str:
    words = (
        pgettext("number", "no"),
        pgettext("number", "one"),
        pgettext("number", "two"),
        pgettext("number", "three"),
        pgettext("number", "four"),
        pgettext("number", "five"),
        pgettext("number", "six"),
        pgettext("number", "seven"),
        pgettext("number", "eight"),
        pgettext("number", "nine"),
        pgettext("number", "ten"),
        pgettext("number", "eleven"),
        pgettext("number", "twelve"),
    )
    return words[n] if n < len(words) else str(n)
