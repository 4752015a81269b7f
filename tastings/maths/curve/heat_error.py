"""How far a lot's rate of extraction may be off because the water was not as hot as noted.

Such an error is shared by all sessions of a shop, with its one kettle, so it does not average out however often the lot
is tasted: the even-brew curve is drawn with it on top of what the ratings leave open. Three things make it up, each an
sd of the log rate:

* a thermometer, 0.5 deg C (own value);
* a kettle that nobody read, 6 deg C: its heat is taken from other pours or from the kind of tea (own value). Where
  every pour of a session is noted as boiling, the water was 3 deg C cooler on average, give or take 4: it cools from
  the boil to the pour, and 100 is what people note who read no thermometer (own values);
* the activation energy, known to 10 kJ/mol (caffeine 40 kJ/mol, Jaganyi and Price 1999; other solutes less or more),
  which counts as far as the pots were cooler or hotter than the even brew.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tastings.maths.brewing.even_brew import EvenBrew
from tastings.maths.brewing.heat import EA_KJ_MOL, GAS_CONSTANT_KJ_MOL_K, REFERENCE_K, steeping_of
from tastings.maths.curve.evidence import PreparedSession

THERMOMETER_C, NOT_READ_C, NOTED_AS_BOILING_C = 0.5, 6.0, 4.0
COOLER_C = 3.0
EA_SD_KJ_MOL = 10.0
ALWAYS_BOILING_C = 100.0
LEAST_POURS = 3
_LOG_RATE_PER_C = EA_KJ_MOL / GAS_CONSTANT_KJ_MOL_K / REFERENCE_K**2


@dataclass(frozen=True, slots=True)
class RateError:
    """Mean and sd of the log rate of extraction at the even brew's heat, true less fitted."""

    mean: float = 0.0
    sd: float = 0.0


def rate_error(followed: Sequence[PreparedSession], *, even_brew: EvenBrew) -> RateError:
    """Return what the lot's rate may be off by, however often it was tasted."""
    if not followed:
        return RateError()
    sds_c: dict[str | None, float] = defaultdict(float)
    for session in followed:
        sds_c[session.brew.shop] += _kettle_sd_c(session)
    boiling = sum(_is_always_boiling(session) for session in followed) / len(followed)
    even = even_brew.brew()
    cooler = np.mean([np.log(session.steeping.rate).mean() for session in followed])
    cooler -= np.log(steeping_of(even, even.pours).rate).mean()
    return RateError(
        mean=boiling * COOLER_C * _LOG_RATE_PER_C,
        sd=float(
            np.hypot(
                np.linalg.norm(list(sds_c.values())) / len(followed) * _LOG_RATE_PER_C,
                cooler * EA_SD_KJ_MOL / EA_KJ_MOL,
            )
        ),
    )


def _kettle_sd_c(session: PreparedSession) -> float:
    """Return how far off the kettle of a session may be [deg C]."""
    if _is_always_boiling(session):
        return NOTED_AS_BOILING_C
    pours = [pour for pour in session.brew.pours if pour.number > 0]
    not_read = sum(not pour.kettle_read for pour in pours) / max(len(pours), 1)
    return THERMOMETER_C + (NOT_READ_C - THERMOMETER_C) * not_read


def _is_always_boiling(session: PreparedSession) -> bool:
    pours = [pour for pour in session.brew.pours if pour.number > 0]
    return len(pours) >= LEAST_POURS and all(pour.kettle_c >= ALWAYS_BOILING_C and pour.kettle_read for pour in pours)
