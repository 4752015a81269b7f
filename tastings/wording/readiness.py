"""Whether a roast has rested, in words."""

from collections.abc import Mapping

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from tastings.maths.roast.readiness import NextRoastTasting, Readiness, Verdict
from tastings.maths.roast.rest import LEAST_GAIN, USUAL_REST_DAYS
from tastings.wording.labels import ROASTS, descriptor_in_sentence, label
from tastings.wording.numbers import day, number, percent_or_beyond, two_decimals


def no_roast_day() -> str:
    """Say that the day of roasting is missing."""
    return _("Cannot tell: the lot does not say when it was roasted.")


def reason(rest: Readiness) -> str:
    """Say whether the roast has rested and why."""
    if rest.basis == "usual_rest":
        return _usual_rest(rest)
    values = {"attribute": descriptor_in_sentence(rest.attribute)}
    if rest.basis == "not_rated" or rest.probability is None:
        return _("Cannot tell: the %(attribute)s has not been rated since the roast.") % values
    if rest.basis == "one_week_short":
        sentence = _(
            "Cannot tell: the %(attribute)s was not rated on two days at least a week apart, so how fast it fades"
            " is not seen."
        )
        return sentence % values
    if rest.basis == "liking_falls":
        sentence = _("Drink it now: with %(probability)s probability it is liked less the longer it waits.")
        return sentence % {"probability": percent_or_beyond(rest.falling or 0.0)}
    if rest.basis == "levelled":
        sentence = _(
            "Ready: with %(levelled)s probability the %(attribute)s fades by less than half a point in the next half"
            " year, so waiting changes little."
        )
        return sentence % {**values, "levelled": percent_or_beyond(rest.levelled or 0.0)}
    values |= {"level": number(rest.level), "under": percent_or_beyond(rest.under or 0.0)}
    if rest.rested is None:
        return _(_BY_STRENGTH[rest.verdict]) % values
    return _(_BY_STRENGTH_AND_LIKING[rest.verdict]) % {
        **values,
        "rested": percent_or_beyond(rest.rested),
        "gain": two_decimals(LEAST_GAIN),
    }


_BY_STRENGTH: Mapping[Verdict, str] = {
    "ready": gettext_noop("Ready: with %(under)s probability the %(attribute)s is under %(level)s today."),
    "resting": gettext_noop("Still resting: with %(under)s probability the %(attribute)s is under %(level)s today."),
    "cannot_tell": gettext_noop(
        "Cannot tell: with %(under)s probability the %(attribute)s is under %(level)s today, and the"
        " day is not known to within two weeks."
    ),
}
_BY_STRENGTH_AND_LIKING: Mapping[Verdict, str] = {
    "ready": gettext_noop(
        "Ready: the %(attribute)s is under %(level)s today with %(under)s probability, and with %(rested)s"
        " probability a longer rest would not make it noticeably better liked (by less than %(gain)s points)."
    ),
    "resting": gettext_noop(
        "Still resting: the %(attribute)s is under %(level)s today with %(under)s probability, and with"
        " %(rested)s probability a longer rest would not make it noticeably better liked (by less than %(gain)s"
        " points)."
    ),
    "cannot_tell": gettext_noop(
        "Cannot tell: the %(attribute)s is under %(level)s today with %(under)s probability, and with"
        " %(rested)s probability a longer rest would not make it noticeably better liked (by less than %(gain)s"
        " points)."
    ),
}


def rest_words(rest: Readiness) -> str:
    """Say in a few words whether the roast has rested."""
    if rest.basis == "liking_falls":
        return _("Drink it now: it is liked less the longer it waits")
    if rest.basis == "levelled":
        return _("Rested after roasting: waiting changes little")
    match rest.verdict:
        case "ready":
            return _("Rested after roasting: ready")
        case "resting" if rest.expected_on is not None and rest.expected_on > rest.asked_on:
            return _("Still resting after roasting: ready about %(day)s") % {"day": day(rest.expected_on)}
        case "resting":
            return _("Still resting after roasting")
        case "cannot_tell":
            return _("Rested after roasting? Not known yet")


def _usual_rest(rest: Readiness) -> str:
    shortest, longest = USUAL_REST_DAYS[rest.degree]
    return ngettext(
        "Still resting by common practice: after a %(roast)s a tea rests %(shortest)s to %(longest)s days, and this is"
        " day %(n)s.",
        "Still resting by common practice: after a %(roast)s a tea rests %(shortest)s to %(longest)s days, and this is"
        " day %(n)s.",
        rest.day,
    ) % {"roast": label(ROASTS, rest.degree), "shortest": shortest, "longest": longest, "n": rest.day}


def next_tasting(tasting: NextRoastTasting, *, attribute: str) -> str:
    """Say what further tasting, and when, would settle it."""
    match tasting.code:
        case "first":
            return _(
                "Taste it and rate the %(attribute)s of every infusion; a second tasting at least a week later shows"
                " how fast it fades."
            ) % {"attribute": descriptor_in_sentence(attribute)}
        case "none":
            return _("No further tasting is needed to settle this; taste again if it is stored for long.")
        case "little":
            return _("No single tasting within the next two months would settle much.")
        case "useful":
            return _(
                "Taste it again %(when)s, best with another taster: that is expected to narrow the 80 %% interval of"
                " the date from %(now)s to about %(then)s days, dates beyond two years counted as two years."
            ) % {
                "when": _when(tasting),
                "now": f"{tasting.width_days or 0.0:.0f}",
                "then": f"{tasting.expected_width_days or 0.0:.0f}",
            }


def _when(tasting: NextRoastTasting) -> str:
    if not tasting.ahead_days:
        return _("today")
    return _("about %(day)s, in %(n)s days") % {"day": day(tasting.on), "n": tasting.ahead_days}
