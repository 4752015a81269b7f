"""What one more session of a lot would most usefully settle."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from tastings.maths.curve.evidence import PreparedSession
from tastings.maths.curve.profile import LABELS, UNDECIDED, Curve, Profile
from tastings.maths.curve.steep_count import Steeps

WIDE_POINTS = 2.0
NARROW_KETTLE_C = 5.0
JOINS_AT = 4
"""The infusion at which a taster joins so that fatigue and fading come apart: rested, the taster finds the cup stronger
than those who began at the first (own value)."""
FATIGUE_OPEN = (0.3, 0.9)
"""Probabilities of fatigue between which it is worth a tasting (own value; below, the ratings do not point to it)."""
JOIN_AFTER_SESSIONS = 3


QuestionCode = Literal[
    "first_session",
    "rate_strength",
    "pour_further",
    "second_taster",
    "join_late",
    "profile",
    "infusion",
    "heat",
    "little",
]
"""Codes of what is open, the least known first; ``little`` is no question."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NextSession:
    """What is open, with its figures."""

    # `first_session`; `rate_strength`, which nobody has rated; `pour_further` than `reach`, for infusion
    # `high` may still be worth drinking; `second_taster`; `join_late`: whether tired tasters or the leaf weaken
    # late cups is open, so one taster joins at `infusion`; `profile`: `labels` are not told apart; `infusion`,
    # whose interval is wide; `heat`, which was always the same; `little` is open
    code: QuestionCode
    # reach, infusion, sessions: last infusion rated; the least certain one, or that at which a taster joins; how many
    # sessions there are
    reach: int | None = None
    infusion: int | None = None
    sessions: int | None = None
    # steeps_low, steeps_high: an 80 % range of the last infusion worth drinking
    steeps_low: int | None = None
    steeps_high: int | None = None
    # low, high: interval of the strength of `infusion` [points], or of the kettle's heat [deg C]
    low: float | None = None
    high: float | None = None
    # the two likeliest profiles, with `probabilities`; of `join_late` that of fatigue alone
    labels: tuple[str, ...] = ()
    probabilities: tuple[float, ...] = ()
    within: float | None = None  # to within how much the strength of every infusion is known [points]


def next_session(  # noqa: PLR0913 - all that is known of the lot so far
    followed: Sequence[PreparedSession],
    *,
    strength: Curve | None,
    profile: Profile,
    steeps: Steeps,
    fatigue: float,
    infusions: int,
) -> NextSession:
    """Find what one more session would most usefully settle.

    Parameters
    ----------
    followed : Sequence[PreparedSession]
        The sessions used.
    strength : Curve or None
        Even-brew strength; None when nobody rated it.
    profile, steeps
        What is known so far.
    fatigue : float
        Probability that cups were rated weaker because of those tasted before.
    infusions : int
        Infusions of the even brew.

    Returns
    -------
    NextSession
        The first of these that is open: no session, no strength, too few infusions poured, one taster only, fatigue
        that may be fading, profile undecided, an infusion with a wide interval, water always equally hot.
    """
    if not followed:
        return NextSession(code="first_session")
    if strength is None:
        return NextSession(code="rate_strength")
    return (
        _pour_further(followed, steeps=steeps, infusions=infusions)
        or _second_taster(followed)
        or _fatigue_open(followed, fatigue=fatigue)
        or _profile_open(profile)
        or _widest(strength)
        or _same_heat(followed)
        or NextSession(code="little", within=float((strength.high - strength.low).max()) / 2)
    )


def _pour_further(followed: Sequence[PreparedSession], *, steeps: Steeps, infusions: int) -> NextSession | None:
    reach = max(pour.number for session in followed for pour in session.pours if "strength" in pour.ratings)
    if reach >= infusions or steeps.high is None or steeps.high <= reach:
        return None
    return NextSession(code="pour_further", reach=reach, steeps_low=steeps.low, steeps_high=steeps.high)


def _second_taster(followed: Sequence[PreparedSession]) -> NextSession | None:
    if len({session.brew.taster for session in followed}) > 1:
        return None
    return NextSession(code="second_taster", sessions=len(followed))


def _fatigue_open(followed: Sequence[PreparedSession], *, fatigue: float) -> NextSession | None:
    low, high = FATIGUE_OPEN
    if len(followed) < JOIN_AFTER_SESSIONS or not low <= fatigue <= high:
        return None
    return NextSession(code="join_late", infusion=JOINS_AT, probabilities=(fatigue,))


def _profile_open(profile: Profile) -> NextSession | None:
    if profile.label != UNDECIDED:
        return None
    first, second = sorted(LABELS, key=lambda name: -profile.probability[name])[:2]
    return NextSession(
        code="profile", labels=(first, second), probabilities=(profile.probability[first], profile.probability[second])
    )


def _widest(strength: Curve) -> NextSession | None:
    width = strength.high - strength.low
    index = int(width.argmax())
    if width[index] < WIDE_POINTS:
        return None
    return NextSession(
        code="infusion", infusion=index + 1, low=float(strength.low[index]), high=float(strength.high[index])
    )


def _same_heat(followed: Sequence[PreparedSession]) -> NextSession | None:
    kettles = [pour.kettle_c for session in followed for pour in session.pours if pour.ratings]
    if max(kettles) - min(kettles) >= NARROW_KETTLE_C:
        return None
    return NextSession(code="heat", low=min(kettles), high=max(kettles))
