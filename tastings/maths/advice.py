"""What one more session would most usefully settle, and what to be careful about.

Sources of the cautions: very hot drinks, IARC Monograph 116 (above 65 deg C); caffeine, EFSA Journal 2015;13(5):4102 (adults: 200 mg at
a time, 400 mg a day; 200 mg a day in pregnancy), with 24 to 43 mg caffeine per g of leaf (Hicks, Hsieh and Bell 1996, lowest oolong
23.8; a survey of class means up to 43). No statement here is about a benefit.
"""

from collections.abc import Sequence

from tastings.maths.evidence import Followed
from tastings.maths.profile import LABELS, UNDECIDED, Curve, Profile
from tastings.maths.steeps import Steeps

CAFFEINE_MG_G = (24.0, 43.0)
WIDE_POINTS = 2.0


def next_session(followed: Sequence[Followed], *, strength: Curve | None, profile: Profile, steeps: Steeps, infusions: int) -> str:
    """Say in one sentence what one more session would most usefully settle.

    Parameters
    ----------
    followed : Sequence[Followed]
        The sessions used.
    strength : Curve or None
        Even-brew strength; None when nobody rated it.
    profile, steeps
        What is known so far.
    infusions : int
        Infusions of the even brew.

    Returns
    -------
    str
        A sentence with the figure it comes from.
    """
    if not followed:
        return "Taste a first session, rating the strength of every infusion."
    if strength is None:
        return "Rate the strength of every infusion: without it neither the profile nor the number of steeps can be told."
    reach = max(pour.number for one in followed for pour in one.pours if "strength" in pour.ratings)
    width = strength.high - strength.low
    widest = int(width.argmax()) + 1
    tasters = len({one.brew.taster for one in followed})
    if reach < infusions and (steeps.high is None or steeps.high >= reach):
        return (
            f"Pour further: strength is rated up to infusion {reach} only, and the leaf may last to infusion {steeps.high}"
            f" (80 % interval {steeps.low} to {steeps.high})."
        )
    if tasters == 1:
        return f"Let a second taster brew it: all {len(followed)} {_sessions(len(followed))} so far come from one."
    if profile.label == UNDECIDED:
        first, second = sorted(LABELS, key=lambda name: -profile.probability[name])[:2]
        return (
            f"Rate infusions 1 to 5 of an even brew: {_words(first)} ({profile.probability[first]:.2f}) and {_words(second)}"
            f" ({profile.probability[second]:.2f}) are not yet told apart."
        )
    if width[widest - 1] >= WIDE_POINTS:
        return (
            f"Rate infusion {widest} of an even brew once more: its strength is the least certain,"
            f" {strength.low[widest - 1]:.1f} to {strength.high[widest - 1]:.1f}."
        )
    kettles = [pour.kettle_c for one in followed for pour in one.pours if pour.ratings]
    if max(kettles) - min(kettles) < 5:
        return (
            f"Brew it once with cooler water: every rated infusion so far was poured at {min(kettles):.0f} to {max(kettles):.0f} °C,"
            " so how the leaf answers to heat is assumed, not seen."
        )
    return f"Little is open: the strength of every infusion is known to within {width.max() / 2:.1f} points either way."


def cautions(followed: Sequence[Followed]) -> tuple[str, ...]:
    """Return what to be careful about when tasting, with the leaf weights of these sessions."""
    said = [
        "Water just off the boil scalds at once; keep kettle and pot out of reach of children and pour away from the hand.",
        "Let the cup cool below 65 °C before drinking: drinking hotter than that is classed as probably carcinogenic"
        " (IARC Monograph 116).",
    ]
    if followed:
        low_g, high_g = min(one.brew.leaf_g for one in followed), max(one.brew.leaf_g for one in followed)
        leaf = f"{low_g:g} g" if low_g == high_g else f"{low_g:g} to {high_g:g} g"
        low_mg, high_mg = (round(grams * mg, -1) for grams, mg in zip((low_g, high_g), CAFFEINE_MG_G, strict=True))
        said.append(
            f"{leaf} of tea leaf can give about {low_mg:.0f} to {high_mg:.0f} mg caffeine when steeped out. EFSA (2015) names 200 mg at"
            " a time and 400 mg a day for healthy adults, 200 mg a day in pregnancy and while nursing; ask a doctor, and follow local"
            " guidance where it differs."
        )
    return tuple(said)


def _sessions(count: int) -> str:
    return "session" if count == 1 else "sessions"


def _words(label: str) -> str:
    return label.replace("_", " ")
