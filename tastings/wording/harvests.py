"""Harvests in words: when, and what sets two of one producer apart."""

from collections.abc import Mapping

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from tastings.maths.comparison.arrival import NOTICEABLE, ArrivalCheck
from tastings.wording.arrival import difference_words
from tastings.wording.labels import SEASONS, descriptor_in_sentence, label
from tastings.wording.numbers import listed, number, one_decimal

_PICKINGS = {
    "first": gettext_noop("first %(year)s harvest"),
    "second": gettext_noop("second %(year)s harvest"),
    "third": gettext_noop("third %(year)s harvest"),
}


def harvest_words(year: int | None, season: str | None) -> str:
    """Say when a lot was harvested; a season that we do not know is written as typed."""
    typed = season or ""
    if typed.lower() in _PICKINGS:
        return " ".join((_(_PICKINGS[typed.lower()]) % {"year": year or ""}).split())
    name = label(SEASONS, typed.lower()) if typed.lower() in SEASONS else typed
    when = " ".join(filter(None, (name, str(year or ""))))
    return _("%(when)s harvest") % {"when": when} if when else ""


def harvest_difference(check: ArrivalCheck, *, labels: Mapping[str, str]) -> str:
    """Say what the lot surely has more or less of than the other harvest."""
    if not check.compared:
        return _("Cannot be compared yet: nothing was rated in both.")
    if check.differing:
        differences = listed(difference_words(item, labels) for item in check.differing)
        return _("Compared with it: %(differences)s.") % {"differences": differences}
    if check.verdict == "same":
        return _("The same in every word rated, to within %(points)s points.") % {"points": number(NOTICEABLE)}
    return _(
        "Nothing differs beyond doubt; in %(descriptor)s only a difference of about %(points)s points or more would"
        " have been seen."
    ) % {
        "descriptor": descriptor_in_sentence(check.least_known.descriptor, labels),
        "points": one_decimal(check.least_known.detectable),
    }
