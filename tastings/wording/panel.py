"""How a taster uses the scale and how far a panel agrees, in words."""

from collections.abc import Collection
from typing import Literal

from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from tastings.maths.brewing.brews import TasterScale
from tastings.maths.panel.joining import Joining
from tastings.wording.numbers import number, number_range, one_decimal, two_decimals

SURE_SD = 1.2816
"""Half the width of a central 80 % interval of a normal. [standard deviations]"""
WELL, PARTLY = 0.7, 0.4
"""Least correlations at which tasters agree well, or partly: own choice, no source."""
LEAST_LOTS = 5
"""Of fewer lots a correlation says little: of four, two people who rate at random come to below -0.5 or above 0.5 half
the time."""
Agreement = Literal["well", "partly", "hardly", "unknown"]


def level_difference(scale: TasterScale) -> str:
    """Say that somebody rates higher or lower than the others; empty while that cannot be told."""
    if abs(scale.offset) <= SURE_SD * scale.offset_sd:
        return ""
    points = {"points": one_decimal(abs(scale.offset))}
    if scale.offset > 0:
        return _("about %(points)s points higher than the others") % points
    return _("about %(points)s points lower than the others") % points


def spread_difference(scale: TasterScale) -> str:
    """Say that somebody uses more or less of the scale than the others; empty while that cannot be told."""
    if abs(scale.gain - 1) <= SURE_SD * scale.gain_sd:
        return ""
    percent = {"percent": number(round(100 * abs(scale.gain - 1)))}
    if scale.gain > 1:
        return _("uses about %(percent)s %% more of the scale than the others") % percent
    return _("uses about %(percent)s %% less of the scale than the others") % percent


def agreement_of(correlation: float | None, *, lots: int) -> Agreement:
    """Return how far ratings agree about so many lots."""
    if correlation is None or lots < LEAST_LOTS:
        return "unknown"
    if correlation >= WELL:
        return "well"
    return "partly" if correlation >= PARTLY else "hardly"


def ranking_words(correlation: float | None, *, lots: int) -> str:
    """Say in a word or two whether somebody ranks the lots as the others do."""
    return {
        "well": pgettext("ranks the lots", "as the others"),
        "partly": pgettext("ranks the lots", "partly so"),
        "hardly": pgettext("ranks the lots", "differently"),
        "unknown": pgettext("ranks the lots", "too few lots"),
    }[agreement_of(correlation, lots=lots)]


def ranking_difference(correlation: float | None, *, lots: int) -> str:
    """Say that a taster ranks the lots differently from the others; empty if not, or unknown."""
    return _("ranks the lots differently from the others") if agreement_of(correlation, lots=lots) == "hardly" else ""


def panel_sentence(correlation: float | None, *, lots: int) -> str:
    """Say how far one taster's rating can stand for the panel's."""
    return {
        "well": _("well: one taster's rating says nearly what the others would"),
        "partly": _("partly: several tasters are needed for a lot"),
        "hardly": _("hardly: agree first on what the word means, with the same cup before all"),
        "unknown": _("cannot be told yet"),
    }[agreement_of(correlation, lots=lots)]


def coefficient(value: float | None) -> str:
    """Write an intraclass correlation; all values below 0 mean that tasters differ more than lots."""
    if value is None:
        return ""
    return _("below 0") if value < 0 else two_decimals(value)


def repeats_sentence(sds: Collection[float]) -> str:
    """Say how far somebody's ratings of one cup lie apart when it is tasted again, over all words."""
    if not sds:
        return _("Has not tasted the same infusion of a lot twice yet.")
    low, high = one_decimal(min(sds)), one_decimal(max(sds))
    points = low if low == high else number_range(low, high)
    return _("The same infusion tasted again varies by about %(points)s points.") % {"points": points}


def joining_sentence(joining: Joining) -> str:
    """Say how many blind cups are missing until a scale is known."""
    left = joining.needed - joining.done
    return ngettext("About %(n)s more blind cup", "About %(n)s more blind cups", left) % {"n": left}


def tasted_sentence(*, sessions: int, lots: int) -> str:
    """Say how much tasting the figures rest on."""
    counts = {"sessions": ngettext("%(n)s session", "%(n)s sessions", sessions) % {"n": sessions},
             "lots": ngettext("%(n)s lot", "%(n)s lots", lots) % {"n": lots}}  # fmt: skip
    return _("from %(sessions)s of %(lots)s") % counts
