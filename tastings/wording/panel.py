"""How a taster uses the scale and how far a panel agrees, in words."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from tastings.maths.brewing.brews import TasterScale
from tastings.maths.panel.joining import Joining
from tastings.wording.numbers import listed, number_range, one_decimal, two_decimals

SURE_SD = 1.2816
"""Half the width of a central 80 % interval of a normal. [standard deviations]"""
WELL, PARTLY = 0.7, 0.4
"""Least correlations at which tasters agree well, or partly: own choice, no source."""
LEAST_LOTS = 5
"""Of fewer lots a correlation says little: of four, two people who rate at random come to below -0.5 or above 0.5 half
the time."""
Agreement = Literal["well", "partly", "hardly", "unknown"]


@dataclass(frozen=True, slots=True)
class WordScale:
    """How a taster uses the scale for one word, called ``label``."""

    label: str
    scale: TasterScale
    agreement: float | None
    """Correlation with the others over ``lots`` lots."""
    lots: int


def scale_differences(words: Sequence[WordScale]) -> list[tuple[str, str]]:
    """Return how somebody's ratings differ from the others', and for which words, as far as that can be told."""
    level = [(word.label, word.scale.offset) for word in words if _is_sure(word.scale.offset, word.scale.offset_sd)]
    spread = [(word.label, word.scale.gain - 1) for word in words if _is_sure(word.scale.gain - 1, word.scale.gain_sd)]
    differently = [word.label for word in words if agreement_of(word.agreement, lots=word.lots) == "hardly"]
    rows = [
        (_("Rates higher"), _by_points([(label, by) for label, by in level if by > 0])),
        (_("Rates lower"), _by_points([(label, by) for label, by in level if by < 0])),
        (_("Uses more of the scale"), _by_percent([(label, by) for label, by in spread if by > 0])),
        (_("Uses less of the scale"), _by_percent([(label, by) for label, by in spread if by < 0])),
        (_("Ranks the lots differently"), listed(differently)),
    ]
    return [(title, of_words) for title, of_words in rows if of_words]


def _is_sure(difference: float, sd: float) -> bool:
    return abs(difference) > SURE_SD * sd


def _by_points(differences: Sequence[tuple[str, float]]) -> str:
    """Write words with the points by which they differ, the largest first."""
    sizes = [f"{label} {one_decimal(abs(by))}" for label, by in sorted(differences, key=lambda item: -abs(item[1]))]
    return _("%(words)s points") % {"words": ", ".join(sizes)} if sizes else ""


def _by_percent(differences: Sequence[tuple[str, float]]) -> str:
    """Write words with the part of the scale by which they differ, the largest first."""
    return ", ".join(
        f"{label} {round(100 * abs(by))}\u00a0%" for label, by in sorted(differences, key=lambda item: -abs(item[1]))
    )


def agreement_of(correlation: float | None, *, lots: int) -> Agreement:
    """Return how far ratings agree about so many lots."""
    if correlation is None or lots < LEAST_LOTS:
        return "unknown"
    if correlation >= WELL:
        return "well"
    return "partly" if correlation >= PARTLY else "hardly"


def rankings(words: Sequence[WordScale]) -> list[tuple[str, str]]:
    """Return for which words somebody ranks the lots as the others do, and for which not or not known."""
    titles: Mapping[Agreement, str] = {
        "well": pgettext("ranks the lots", "As the others"),
        "partly": pgettext("ranks the lots", "Partly so"),
        "hardly": pgettext("ranks the lots", "Differently"),
        "unknown": pgettext("ranks the lots", "Too few lots to tell"),
    }
    rows = [
        (title, listed(word.label for word in words if agreement_of(word.agreement, lots=word.lots) == agreement))
        for agreement, title in titles.items()
    ]
    return [(title, of_words) for title, of_words in rows if of_words]


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
