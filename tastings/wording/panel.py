"""How a taster uses the scale and how far a panel agrees, in words."""

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from tastings.maths.brewing.brews import TasterScale
from tastings.wording.numbers import number, one_decimal

SURE_SD = 1.2816
"""Half the width of a central 80 % interval of a normal. [standard deviations]"""
WELL, PARTLY = 0.7, 0.4
"""Correlations from which tasters are said to agree well, or partly: own choice, no source."""


def level_sentence(scale: TasterScale) -> str:
    """Say whether somebody rates higher or lower than the others."""
    if abs(scale.offset) <= SURE_SD * scale.offset_sd:
        return _("as high as the others, as far as can be told")
    points = {"points": one_decimal(abs(scale.offset))}
    if scale.offset > 0:
        return _("about %(points)s points higher than the others") % points
    return _("about %(points)s points lower than the others") % points


def spread_sentence(scale: TasterScale) -> str:
    """Say whether somebody uses more or less of the scale than the others."""
    if abs(scale.gain - 1) <= SURE_SD * scale.gain_sd:
        return _("uses as much of the scale as the others, as far as can be told")
    percent = {"percent": number(round(100 * abs(scale.gain - 1)))}
    if scale.gain > 1:
        return _("uses about %(percent)s %% more of the scale than the others") % percent
    return _("uses about %(percent)s %% less of the scale than the others") % percent


def repeat_sentence(sd: float | None) -> str:
    """Say how far ratings of one cup lie apart when it is tasted again."""
    if sd is None:
        return _("has not tasted the same infusion of a lot twice yet")
    return _("the same infusion tasted again varies by about %(points)s points") % {"points": one_decimal(sd)}


def agreement_sentence(correlation: float | None) -> str:
    """Say whether somebody tells the lots apart in the same way as the others."""
    if correlation is None:
        return _("too few lots were tasted by others too")
    if correlation >= WELL:
        return _("ranks the lots as the others do")
    if correlation >= PARTLY:
        return _("ranks the lots partly as the others do")
    return _("ranks the lots differently from the others")


def panel_sentence(correlation: float | None) -> str:
    """Say how far one taster's rating can stand for the panel's."""
    if correlation is None:
        return _("cannot be told yet")
    if correlation >= WELL:
        return _("well: one taster's rating says nearly what the others would")
    if correlation >= PARTLY:
        return _("partly: several tasters are needed for a lot")
    return _("hardly: agree first on what the word means, with the same cup before all")


def tasted_sentence(*, sessions: int, lots: int) -> str:
    """Say how much tasting the figures rest on."""
    found = {"sessions": ngettext("%(n)s session", "%(n)s sessions", sessions) % {"n": sessions},
             "lots": ngettext("%(n)s lot", "%(n)s lots", lots) % {"n": lots}}  # fmt: skip
    return _("from %(sessions)s of %(lots)s") % found
