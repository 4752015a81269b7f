"""Whether an arrived lot is the tea of its sample, in words."""

from collections.abc import Mapping

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from tastings.maths.comparison.arrival import NOTICEABLE, ArrivalCheck, Compared
from tastings.wording.labels import descriptor_in_sentence
from tastings.wording.numbers import number, one_decimal

Labels = Mapping[str, str]


def no_sample() -> str:
    """Say that the lot names no sample."""
    return _("Cannot tell: the lot does not say which sample it was bought on.")


def reason(found: ArrivalCheck, *, labels: Labels | None = None) -> str:
    """Say whether the two are the same tea and why."""
    if not found.compared:
        return _("Cannot tell: no descriptor was rated both in the sample and in the arrived lot.")
    match found.verdict:
        case "different":
            differences = ", ".join(_difference(one, labels) for one in found.differing)
            return _("Different from the sample: %(differences)s.") % {"differences": differences}
        case "same":
            return ngettext(
                "Same as the sample in the descriptor compared: no difference as large as %(points)s points is left"
                " open.",
                "Same as the sample in all %(n)s descriptors compared: no difference as large as %(points)s points is"
                " left open.",
                len(found.compared),
            ) % {"n": len(found.compared), "points": number(NOTICEABLE)}
        case "cannot_tell":
            return _(
                "Cannot tell: nothing differs for certain, but in %(descriptor)s only a difference of about %(points)s"
                " points or more would have been seen."
            ) % {
                "descriptor": descriptor_in_sentence(found.least_known.descriptor, labels),
                "points": one_decimal(found.least_known.detectable),
            }


def _difference(one: Compared, labels: Labels | None) -> str:
    text = (
        _("%(descriptor)s %(points)s points more") if one.difference > 0 else _("%(descriptor)s %(points)s points less")
    )
    return text % {
        "descriptor": descriptor_in_sentence(one.descriptor, labels),
        "points": one_decimal(abs(one.difference)),
    }


def next_tasting(found: ArrivalCheck) -> str:
    """Say what further tasting would settle it."""
    if not found.compared:
        return _("Rate the same descriptors in the arrived lot as in the sample, best by the same tasters.")
    if found.sessions_each is None:
        return _("No further tasting is needed to settle this.")
    return _(
        "About %(n)s sessions of sample and arrived lot each, by the same tasters, would settle it if they are the"
        " same; a triangle test asks directly whether they can be told apart."
    ) % {"n": found.sessions_each}
