"""Whether a roast has rested, in words."""

from django.utils.translation import gettext as _

from tastings.maths.roast.readiness import NextTasting, Readiness
from tastings.wording.labels import descriptor_in_sentence
from tastings.wording.numbers import day, number, percent_or_beyond


def no_roast_day() -> str:
    """Say that the day of roasting is missing."""
    return _("Cannot tell: the lot does not say when it was roasted.")


def reason(found: Readiness) -> str:
    """Say whether the roast has rested and why."""
    names = {"attribute": descriptor_in_sentence(found.attribute)}
    if found.basis == "not_rated" or found.probability is None:
        return _("Cannot tell: the %(attribute)s has not been rated since the roast.") % names
    if found.basis == "one_week_short":
        return (
            _(
                "Cannot tell: the %(attribute)s was not rated on two days at least a week apart, so how fast it fades"
                " is not seen."
            )
            % names
        )
    figures = {**names, "probability": percent_or_beyond(found.probability), "level": number(found.level)}
    match found.verdict:
        case "ready":
            return _("Ready: with %(probability)s probability the %(attribute)s is under %(level)s today.") % figures
        case "resting":
            return (
                _("Still resting: with %(probability)s probability the %(attribute)s is under %(level)s today.")
                % figures
            )
        case "cannot_tell":
            return (
                _(
                    "Cannot tell: with %(probability)s probability the %(attribute)s is under %(level)s today, and the"
                    " day is not known to within two weeks."
                )
                % figures
            )


def next_tasting(found: NextTasting, *, attribute: str) -> str:
    """Say what further tasting, and when, would settle it."""
    match found.code:
        case "first":
            return _(
                "Taste it and rate the %(attribute)s of every infusion; a second tasting at least a week later shows"
                " how fast it fades."
            ) % {"attribute": descriptor_in_sentence(attribute)}
        case "none":
            return _("No further tasting is needed to settle this; taste again if it is stored for long.")
        case "little":
            return _("No single tasting within two months would settle much; the most useful day is %(when)s.") % {
                "when": _when(found)
            }
        case "useful":
            return _(
                "Taste it again %(when)s, best with another taster: that is expected to narrow the 80 %% interval of"
                " the date from %(now)s to about %(then)s days, dates beyond two years counted as two years."
            ) % {
                "when": _when(found),
                "now": f"{found.width_days or 0.0:.0f}",
                "then": f"{found.expected_width_days or 0.0:.0f}",
            }


def _when(found: NextTasting) -> str:
    if not found.ahead_days:
        return _("today")
    return _("about %(day)s, in %(n)s days") % {"day": day(found.on), "n": found.ahead_days}
