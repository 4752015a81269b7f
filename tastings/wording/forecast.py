"""Forecasts in words: of a tea's course from its first cups, and of its cups in another vessel."""

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from tastings.maths.forecast.course import CourseForecast
from tastings.maths.forecast.vessel import CupForecast, VesselForecast
from tastings.maths.guide.pots import Vessel
from tastings.wording.labels import MATERIALS, label
from tastings.wording.numbers import number, one_decimal, percent

LIKELY = 0.5
SAME_RATIO = 0.02
"""Leaf to water that differs by less is the same for a scale in tenths of a gram (own rule)."""


def course_forecast_sentence(course: CourseForecast) -> str:
    """Say on how few cups the course rests, and how often such a forecast came true."""
    first = ngettext(
        "This is a forecast: only the first cup was rated.",
        "This is a forecast: only the first %(n)s cups were rated.",
        course.rated_to,
    ) % {"n": course.rated_to}
    if course.course_right is None:
        found_in = _(
            "In %(covered)s of simulated tastings that ended there, the true number of infusions lay within the range."
        )
    else:
        found_in = _(
            "In simulated tastings that ended there, a course that was named was true in %(right)s of cases, and the"
            " true number of infusions lay within the range in %(covered)s."
        )
    return (
        f"{first} {found_in % {'right': percent(course.course_right or 0.0), 'covered': percent(course.count_covered)}}"
    )


def vessel_words(vessel: Vessel, *, other: Vessel) -> str:
    """Say material and size of a vessel; its leaf only where the other has more or less of it to the water."""
    values = {
        "material": label(MATERIALS, vessel.vessel_material),
        "vessel_ml": number(round(vessel.vessel_ml)),
        "leaf_g": number(round(vessel.leaf_g, 1)),
    }
    ratio = vessel.leaf_g / vessel.vessel_ml * other.vessel_ml / other.leaf_g
    match vessel.warmed, abs(ratio - 1) > SAME_RATIO:
        case True, False:
            return _("%(material)s of %(vessel_ml)s ml, warmed") % values
        case False, False:
            return _("%(material)s of %(vessel_ml)s ml, not warmed") % values
        case True, _differs:
            return _("%(material)s of %(vessel_ml)s ml, warmed, %(leaf_g)s g") % values
        case _not_warmed, _differs:
            return _("%(material)s of %(vessel_ml)s ml, not warmed, %(leaf_g)s g") % values


def vessel_forecast_sentence(forecast: VesselForecast) -> str:
    """Say how probably the cups are noticeably stronger or weaker than in the vessel of the tastings."""
    whole = _(
        "With the same steeps in %(other)s, instead of %(first)s, the tea would most likely be %(verdict)s over its"
        " good cups: noticeably weaker with %(weaker)s probability, noticeably stronger with %(stronger)s."
    ) % {
        "first": vessel_words(forecast.first, other=forecast.other),
        "other": vessel_words(forecast.other, other=forecast.first),
        "verdict": _verdict(forecast),
        "weaker": percent(forecast.weaker),
        "stronger": percent(forecast.stronger),
    }
    most = max(forecast.cups[: forecast.good_cups], key=lambda cup: max(cup.weaker, cup.stronger))
    return f"{whole} {_cup(most)}" if max(most.weaker, most.stronger) >= LIKELY and forecast.good_cups > 1 else whole


def _verdict(forecast: VesselForecast) -> str:
    if forecast.weaker > LIKELY:
        return _("noticeably weaker")
    return _("noticeably stronger") if forecast.stronger > LIKELY else _("about as strong")


def _cup(cup: CupForecast) -> str:
    values = {
        "infusion": cup.infusion,
        "first": one_decimal(cup.first.mean),
        "other": one_decimal(cup.other.mean),
        "probability": percent(max(cup.weaker, cup.stronger)),
    }
    if cup.weaker > cup.stronger:
        sentence = _(
            "The cup that differs most is cup %(infusion)s: %(other)s instead of %(first)s, weaker with"
            " %(probability)s."
        )
    else:
        sentence = _(
            "The cup that differs most is cup %(infusion)s: %(other)s instead of %(first)s, stronger with"
            " %(probability)s."
        )
    return sentence % values


def no_vessel_forecast() -> str:
    """Say why there is no forecast."""
    return _("We cannot tell yet: nobody has rated the strength of this lot.")


def vessel_forecast_note() -> str:
    """Say what such a forecast is made from and what it leaves out."""
    return _(
        "Noticeably: by more than half a point. Only the heat that the vessel takes is computed, from its material,"
        " mass and warming; what else a vessel does to a tea is not."
    )
