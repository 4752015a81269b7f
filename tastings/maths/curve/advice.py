"""What one more session would most usefully settle, and what to be careful about.

Sources of the cautions: very hot drinks, IARC Monograph 116 (above 65 deg C); caffeine, EFSA Journal 2015;13(5):4102
(adults: 200 mg at a time, 400 mg a day; 200 mg a day in pregnancy), with 24 to 43 mg caffeine per g of leaf (Hicks,
Hsieh and Bell 1996, lowest oolong 23.8; a survey of class means up to 43). No statement here is about a benefit.
"""

from collections.abc import Sequence

from tastings.maths.curve.evidence import Followed
from tastings.maths.curve.profile import LABELS, UNDECIDED, Curve, Profile
from tastings.maths.curve.steep_count import Steeps

CAFFEINE_MG_G = (24.0, 43.0)
WIDE_POINTS = 2.0
NARROW_KETTLE_C = 5.0


def next_session(
    followed: Sequence[Followed], *, strength: Curve | None, profile: Profile, steeps: Steeps, infusions: int
) -> str:
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
        The first of these that is open, with its figure: no session, no strength, too few infusions poured, one taster
        only, profile undecided, an infusion with a wide interval, water always equally hot.
    """
    if not followed:
        return "Taste a first session, rating the strength of every infusion."
    if strength is None:
        return "Rate the strength of every infusion: without it neither profile nor number of steeps can be told."
    return (
        _pour_further(followed, steeps=steeps, infusions=infusions)
        or _second_taster(followed)
        or _profile_open(profile)
        or _widest(strength)
        or _same_heat(followed)
        or f"Little is open: the strength of every infusion is known to within"
        f" {float((strength.high - strength.low).max()) / 2:.1f} points either way."
    )


def _pour_further(followed: Sequence[Followed], *, steeps: Steeps, infusions: int) -> str | None:
    reach = max(pour.number for one in followed for pour in one.pours if "strength" in pour.ratings)
    if reach >= infusions or steeps.high is None or steeps.high <= reach:
        return None
    return (
        f"Pour further: strength is rated up to infusion {reach} only, and the last one worth drinking may be"
        f" infusion {steeps.high} (80 % interval {steeps.low} to {steeps.high})."
    )


def _second_taster(followed: Sequence[Followed]) -> str | None:
    if len({one.brew.taster for one in followed}) > 1:
        return None
    so_far = "the only session" if len(followed) == 1 else f"all {len(followed)} sessions"
    return f"Let a second taster brew it: {so_far} so far came from one taster, whose own scale is in the figures."


def _profile_open(profile: Profile) -> str | None:
    if profile.label != UNDECIDED:
        return None
    first, second = sorted(LABELS, key=lambda name: -profile.probability[name])[:2]
    return (
        f"Rate infusions 1 to 5 of an even brew: {_words(first)} ({profile.probability[first]:.2f}) and"
        f" {_words(second)} ({profile.probability[second]:.2f}) are not yet told apart."
    )


def _widest(strength: Curve) -> str | None:
    width = strength.high - strength.low
    index = int(width.argmax())
    if width[index] < WIDE_POINTS:
        return None
    return (
        f"Rate infusion {index + 1} of an even brew once more: its strength is the least certain,"
        f" {strength.low[index]:.1f} to {strength.high[index]:.1f}."
    )


def _same_heat(followed: Sequence[Followed]) -> str | None:
    kettles = [pour.kettle_c for one in followed for pour in one.pours if pour.ratings]
    if max(kettles) - min(kettles) >= NARROW_KETTLE_C:
        return None
    return (
        f"Brew it once with cooler water: every rated infusion so far was poured at {min(kettles):.0f} to"
        f" {max(kettles):.0f} °C, so how the leaf answers to heat is assumed, not seen."
    )


def cautions(followed: Sequence[Followed], *, leaf_g: float | None = None) -> tuple[str, ...]:
    """Return what to be careful about when tasting, with the leaf weights of these sessions.

    ``leaf_g`` is a leaf weight to speak of instead. [g]
    """
    scald = (
        "Water just off the boil scalds at once; keep kettle and pot away from children and pour away from the hand."
    )
    hot = (
        "Let the cup cool below 65 °C before drinking: drinking hotter than that is classed as probably carcinogenic"
        " (IARC Monograph 116)."
    )
    weights_g = [one.brew.leaf_g for one in followed] if leaf_g is None else [leaf_g]
    if not weights_g:
        return scald, hot
    low_g, high_g = min(weights_g), max(weights_g)
    leaf = f"{low_g:g} g" if low_g == high_g else f"{low_g:g} to {high_g:g} g"
    low_mg, high_mg = (round(grams * mg, -1) for grams, mg in zip((low_g, high_g), CAFFEINE_MG_G, strict=True))
    caffeine = (
        f"{leaf} of tea leaf can give about {low_mg:.0f} to {high_mg:.0f} mg caffeine when steeped out. EFSA (2015)"
        " names 200 mg at a time and 400 mg a day for healthy adults, 200 mg a day in pregnancy and while nursing; ask"
        " a doctor, and follow local guidance where it differs."
    )
    return scald, hot, caffeine


def _words(label: str) -> str:
    return label.replace("_", " ")
