"""How a lot's roast has rested, as sentences of the report. Pure."""

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from tastings.maths.roast.fading import Trend
from tastings.maths.roast.readiness import SURE, Readiness, RoastPoint
from tastings.maths.roast.rest import FALLS
from tastings.queries.readiness import LotReadiness
from tastings.wording.numbers import day, listed, number, one_decimal, percent, signed
from tastings.wording.readiness import next_tasting, reason

ONE_SIDED = 0.9
"""Probability of a value above the lower end, or below the upper end, of a central 80 % interval."""

LIKELY = 2 / 3
"""Least probability at which the report says that waiting makes a tea worse: twice as likely as not."""
WIDEST_TREND = 0.6
"""A wider interval of the trend that includes 0 is not mentioned. [points in 30 days]"""


def ageing_section(roast: str | None, known: LotReadiness | None) -> list[str]:
    """Say how the roast has rested, when it is expected to be ready, and how liking moves with time.

    ``roast`` is the lot's degree of roast, None when nobody wrote it down.
    """
    if known is None:
        return []
    if known.readiness is None:
        if roast in (None, "none"):
            return []
        return [_("When it was roasted is not noted, so how it has rested cannot be told.")]
    readiness = known.readiness
    roasted = _("Roasted on %(day)s.") % {"day": day(readiness.roasted_on)}
    sentences = [
        f"{roasted} {reason(readiness)}",
        _level(readiness),
        "" if readiness.today is None else _today(readiness.today),
        _expected(readiness),
        _falling(readiness),
        "" if readiness.liking is None else _liking(readiness.liking, rested=readiness.rested),
        next_tasting(readiness.next, attribute=readiness.attribute),
    ]
    return [sentence for sentence in sentences if sentence]


def _level(readiness: Readiness) -> str:
    """Say what the level is that the reason names."""
    if readiness.under is None or readiness.basis in ("liking_falls", "levelled", "one_week_short"):
        return ""
    return _("Under %(level)s, as a mean of the first eight cups of an even brew, such a tea counts as rested.") % {
        "level": number(readiness.level)
    }


def _today(today: RoastPoint) -> str:
    return ngettext(
        "Roast today, %(n)s day on: %(mean)s (%(low)s to %(high)s).",
        "Roast today, %(n)s days on: %(mean)s (%(low)s to %(high)s).",
        today.day,
    ) % {
        "n": today.day,
        "mean": one_decimal(today.mean),
        "low": one_decimal(today.low),
        "high": one_decimal(today.high),
    }


def _expected(readiness: Readiness) -> str:
    """Say when it is ready; a date in the past is said as past."""
    on, low, high = readiness.expected_on, readiness.low_on, readiness.high_on
    if on is None or readiness.basis in ("liking_falls", "levelled"):
        return ""
    if on <= readiness.asked_on:
        early = [_("not before %(day)s") % {"day": day(low)}] if low else []
        late = [_("not after %(day)s") % {"day": day(high)}] if high and high <= readiness.asked_on else []
        sentence, bare = (
            _("Ready since about %(when)s (%(span)s, with %(probability)s each)."),
            _("Ready since about %(when)s."),
        )
    else:
        early = [_("not before %(day)s") % {"day": day(low)}] if low and low > readiness.asked_on else []
        late = [_("not after %(day)s") % {"day": day(high)}] if high else []
        sentence, bare = (
            _("Expected to be ready about %(when)s (%(span)s, with %(probability)s each)."),
            _("Expected to be ready about %(when)s."),
        )
    values = {"when": day(on), "span": listed([*early, *late]), "probability": percent(ONE_SIDED)}
    return (sentence if early or late else bare) % values


def _falling(readiness: Readiness) -> str:
    """Say that waiting makes it worse where that is likely, though not sure enough to be the verdict."""
    if readiness.basis == "liking_falls" or (readiness.falling or 0.0) < LIKELY:
        return ""
    return _(
        "With %(probability)s probability it is liked less the longer it waits once it has rested, by %(points)s points"
        " or more in 30 days."
    ) % {"probability": percent(readiness.falling or 0.0), "points": one_decimal(FALLS)}


def _liking(liking: Trend, *, rested: float | None) -> str:
    """Say how liking moves; that it is not known only where waiting may still make it better liked."""
    if liking.low < 0 < liking.high and liking.high - liking.low > WIDEST_TREND:
        has_rested = rested is not None and rested >= SURE
        return "" if has_rested else _("Whether it is liked more or less with time is not known yet.")
    return _("Liking changes by %(points)s points in 30 days (%(low)s to %(high)s).") % {
        "points": signed(liking.per_30_days, places=2),
        "low": signed(liking.low, places=2),
        "high": signed(liking.high, places=2),
    }
