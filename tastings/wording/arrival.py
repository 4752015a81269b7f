"""Whether an arrived lot is the tea of its sample, in words."""

from collections.abc import Mapping

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from tastings.maths.comparison.arrival import NOTICEABLE, ArrivalCheck, Compared
from tastings.wording.labels import descriptor_in_sentence
from tastings.wording.numbers import listed, number, one_decimal

Labels = Mapping[str, str]


def no_sample() -> str:
    """Say that the lot names no sample."""
    return _("Cannot tell: the lot does not say which sample it was bought on.")


def reason(check: ArrivalCheck, *, labels: Labels | None = None) -> str:
    """Say whether the two are the same tea and why."""
    if not check.compared:
        return _("Cannot tell: no descriptor was rated both in the sample and in the arrived lot.")
    match check.verdict:
        case "different":
            differences = ", ".join(difference_words(row, labels) for row in check.differing)
            return _("Different from the sample: %(differences)s.") % {"differences": differences}
        case "same":
            return ngettext(
                "Same as the sample in the descriptor compared: a difference of %(points)s points or more is"
                " ruled out.",
                "Same as the sample in all %(n)s descriptors compared: a difference of %(points)s points or more is"
                " ruled out.",
                len(check.compared),
            ) % {"n": len(check.compared), "points": number(NOTICEABLE)}
        case "cannot_tell":
            return _(
                "Cannot tell: nothing differs for certain, but in %(descriptor)s only a difference of about %(points)s"
                " points or more would have been seen."
            ) % {
                "descriptor": descriptor_in_sentence(check.least_known.descriptor, labels),
                "points": one_decimal(check.least_known.detectable),
            }


def difference_words(row: Compared, labels: Labels | None) -> str:
    """Say how much more or less of a descriptor there is."""
    text = (
        _("%(descriptor)s %(points)s points more") if row.difference > 0 else _("%(descriptor)s %(points)s points less")
    )
    return text % {
        "descriptor": descriptor_in_sentence(row.descriptor, labels),
        "points": one_decimal(abs(row.difference)),
    }


def compared_sentence(row: Compared) -> str:
    """Say of one descriptor whether the two differ in it."""
    if row.different:
        return _("differs")
    if row.within:
        return _("the same")
    return _("open: about %(points)s points or more would have been seen") % {"points": one_decimal(row.detectable)}


def evidence_sentence(check: ArrivalCheck) -> str:
    """Say what the check rests on."""
    parts = (
        (ngettext("%(n)s session of the sample", "%(n)s sessions of the sample", check.sample_sessions),
         check.sample_sessions),
        (ngettext("%(n)s of the arrived lot", "%(n)s of the arrived lot", check.arrived_sessions),
         check.arrived_sessions),
        (ngettext("%(n)s taster in both", "%(n)s tasters in both", check.shared_tasters), check.shared_tasters),
    )  # fmt: skip
    return _("It rests on %(parts)s.") % {"parts": listed(text % {"n": n} for text, n in parts)}


def next_tasting(check: ArrivalCheck) -> str:
    """Say what further tasting would settle it."""
    if not check.compared:
        return _("Rate the same descriptors in the arrived lot as in the sample, best by the same tasters.")
    if check.sessions_each is None:
        return _("No further tasting is needed to settle this.")
    return _(
        "About %(n)s sessions of sample and arrived lot each, by the same tasters, would settle it if they are the"
        " same; a triangle test asks directly whether they can be told apart."
    ) % {"n": check.sessions_each}
