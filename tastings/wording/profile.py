"""How strength develops and how many steeps that is worth, in words."""

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from tastings.maths.brewing.even_brew import MOST_INFUSIONS
from tastings.maths.curve.profile import BUILD_UP, LABELS, QUICK_FADE, SLOW_FADE, Profile
from tastings.maths.curve.steep_count import LEVEL, Steeps
from tastings.wording.labels import PROFILES, label
from tastings.wording.numbers import listed, one_decimal, percent

LEAST_NAMED = 0.05
"""Least probability of a course that is named while the course is open."""
LEAST_TOGETHER = 0.9
"""Two courses that are together at least so likely are named as the two that are left (own rule)."""
FADES = {SLOW_FADE, QUICK_FADE}


def is_known(profile: Profile) -> bool:
    """Whether anything was tasted that tells the labels apart: without it all are equally likely."""
    return len({round(probability, 6) for probability in profile.probability.values()}) > 1


def profile_words(code: str | None) -> str:
    """Say a profile's label in two or three words; "course not known yet" when there is none."""
    return label(PROFILES, code if code in PROFILES else "undecided")


def two_left(profile: Profile) -> tuple[str, str] | None:
    """Return the two courses that are left of an undecided one, the likelier first; None where more are open."""
    ranked = sorted(profile.probability, key=lambda name: -profile.probability[name])
    if profile.label in LABELS or len(ranked) < 2:
        return None
    first, second = ranked[:2]
    together = profile.probability[first] + profile.probability[second]
    return (first, second) if together >= LEAST_TOGETHER else None


def verdict_words(profile: Profile | None) -> str:
    """Say the course in a few words: its label, the two that are left, or that it is not known yet."""
    if profile is None:
        return profile_words(None)
    if not is_known(profile):
        return _("strength not rated yet")
    left = two_left(profile)
    if left is None:
        return profile_words(profile.label)
    if set(left) == FADES:
        return _("fades, quickly or slowly")
    return _("%(one)s or %(other)s") % {"one": profile_words(left[0]), "other": profile_words(left[1])}


def profile_sentence(profile: Profile) -> str:
    """Say how strength develops over the even brew, and how sure that is."""
    if not is_known(profile):
        return _("We cannot tell yet how this tea develops: nothing has been tasted that would show it.")
    left = two_left(profile)
    if left is not None:
        return _two_left_sentence(left, profile)
    if profile.label not in LABELS:
        likely = [item for item in profile.probability.items() if item[1] >= LEAST_NAMED]
        ranked = sorted(likely, key=lambda item: -item[1])
        spread = listed(f"{profile_words(name)} {percent(probability)}" for name, probability in ranked)
        return _("We cannot tell yet how this tea develops (%(spread)s).") % {"spread": spread}
    sure = _("We are %(probability)s sure of this.") % {"probability": percent(profile.probability[profile.label])}
    return f"{_course(profile)} {sure}"


def _two_left_sentence(left: tuple[str, str], profile: Profile) -> str:
    first, other = left
    values = {
        "peak": profile.peak_infusion,
        "one": profile_words(first),
        "other": profile_words(other),
        "p_one": percent(profile.probability[first]),
        "p_other": percent(profile.probability[other]),
    }
    if set(left) == FADES:
        quick, slow = (percent(profile.probability[name]) for name in (QUICK_FADE, SLOW_FADE))
        return _(
            "This tea is strongest at about infusion %(peak)s and fades from then on; whether that is quickly"
            " (%(quick)s) or slowly (%(slow)s) is not clear yet."
        ) % {**values, "quick": quick, "slow": slow}
    return _("This tea %(one)s (%(p_one)s) or %(other)s (%(p_other)s): which of the two is not clear yet.") % values


def _course(profile: Profile) -> str:
    half = profile.half_strength_infusion
    values = {"peak": profile.peak_infusion, "half": half, "rise": round((profile.rise - 1) * 100)}
    if profile.label == BUILD_UP:
        return _build_up(values, rises=profile.rise > 1, halves=half is not None)
    if profile.label == QUICK_FADE:
        if half is not None:
            sentence = _(
                "This tea fades quickly: it is strongest at about infusion %(peak)s and drops early, to half of that by"
                " about infusion %(half)s."
            )
        else:
            sentence = _("This tea fades quickly: it is strongest at about infusion %(peak)s and drops early.")
        return sentence % values
    if profile.label == SLOW_FADE:
        if half is not None:
            sentence = _(
                "This tea fades slowly: it is strongest at about infusion %(peak)s and falls to half of that by about"
                " infusion %(half)s."
            )
        else:
            sentence = _("This tea fades slowly: it is strongest at about infusion %(peak)s and falls from then on.")
        return sentence % values
    if half is not None:
        sentence = _(
            "This tea stays steady: it is strongest at about infusion %(peak)s, without a late climb or an early drop;"
            " it falls to half of that by about infusion %(half)s."
        )
    else:
        sentence = _(
            "This tea stays steady: it is strongest at about infusion %(peak)s, without a late climb or an early drop."
        )
    return sentence % values


def _build_up(values: dict[str, int | None], *, rises: bool, halves: bool) -> str:
    match rises, halves:
        case True, True:
            sentence = _(
                "This tea builds up: it is strongest at about infusion %(peak)s, about %(rise)s\u00a0%% above the first"
                " cup; it falls to half of that by about infusion %(half)s."
            )
        case True, False:
            sentence = _(
                "This tea builds up: it is strongest at about infusion %(peak)s, about %(rise)s\u00a0%% above the first"
                " cup."
            )
        case False, True:
            sentence = _(
                "This tea builds up: it is strongest at about infusion %(peak)s; it falls to half of that by about"
                " infusion %(half)s."
            )
        case _neither:
            sentence = _("This tea builds up: it is strongest at about infusion %(peak)s.")
    return sentence % values


def count_words(count: int) -> str:
    """Write a number of steeps; the last one computed stands for itself and all beyond."""
    return _("%(n)s or more") % {"n": count} if count >= MOST_INFUSIONS else str(count)


def infusions_unit(count: int) -> str:
    """Return the word that follows a count of infusions."""
    return ngettext("infusion", "infusions", count)


def interval_words(steeps: Steeps) -> str:
    """Write the interval of the count; empty where it is the count itself or not known."""
    if steeps.low is None or steeps.high is None or steeps.low == steeps.recommended == steeps.high:
        return ""
    return _("%(low)s to %(high)s") % {"low": steeps.low, "high": count_words(steeps.high)}


def infusions_words(steeps: Steeps | None) -> str:
    """Write the count as the page's headline does: 9 infusions (7 to 10); empty while it is not known."""
    if steeps is None or steeps.recommended is None:
        return ""
    count, interval = f"{count_words(steeps.recommended)} {infusions_unit(steeps.recommended)}", interval_words(steeps)
    return f"{count} ({interval})" if interval else count


def steep_span(steeps: Steeps) -> str:
    """Write the count of steeps with its interval, where there is one."""
    count, interval = count_words(steeps.recommended or 0), interval_words(steeps)
    return f"{count} ({interval})" if interval else count


def steeps_sentence(steeps: Steeps) -> str:
    """Say how many even-brew steeps are worth drinking, with the interval of the count."""
    if steeps.recommended is None:
        return _("We cannot tell yet how many infusions this tea is worth.")
    first, low, high = _count(steeps, steeps.recommended), steeps.low, steeps.high
    if low is None or high is None:
        unknown = _("How far this could be off is not known yet.")
        return f"{first} {unknown}"
    values = {"level": percent(LEVEL), "low": low, "high": count_words(high)}
    if low == high:
        interval = _("With %(level)s probability it is %(high)s.")
    else:
        interval = _("With %(level)s probability the count lies between %(low)s and %(high)s.")
    return f"{first} {interval % values}"


def _count(steeps: Steeps, recommended: int) -> str:
    if recommended <= 0:
        return _("No cup is likely to be strong enough to be worth drinking.")
    if recommended >= MOST_INFUSIONS:
        return _("Good for %(count)s infusions; no more are worked out.") % {"count": count_words(recommended)}
    return ngettext(
        "Good for %(n)s infusion; after it tasters are likely to find the leaf spent, as they do at a strength of about"
        " %(line)s.",
        "Good for %(n)s infusions of equal length; after that tasters are likely to find the leaf spent, as they do at"
        " a strength of about %(line)s.",
        recommended,
    ) % {"n": recommended, "line": one_decimal(steeps.finish_line)}
