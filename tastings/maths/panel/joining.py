"""How many blind duplicates a new taster needs until their scale is known.

A blind duplicate is a cup of a lot that the others have tasted too, under a code. Each is a session of its own and says
something about gain and offset, by the regression of :mod:`tastings.maths.panel.calibration`: with the noise of a
rating, the gain and shift of a session, and what the others leave open of the cup. From N(1, 0.15^2) and N(0, 0.5^2)
before the first one, weak, middling and strong cups in turn shrink both sds as :func:`expected_sds` says.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np

from tastings.maths.brewing.brews import TasterScale
from tastings.maths.curve.level import USUAL_SIGMA
from tastings.maths.curve.sufficient_statistics import SESSION_GAIN_SD, session_shift_sd

KNOWN_GAIN_SD, KNOWN_OFFSET_SD = 0.1, 0.35
"""Sds of gain and offset at which a scale counts as known: two thirds of the first, about (own rule). [1], [points]"""
STRENGTHS = (2.0, 4.0, 7.0)
"""Strengths of the duplicates, in turn (own values). [points]"""
OTHERS_SD = 0.35
"""Sd of a cup's strength as known from three other tasters (own value). [points]"""
ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class Joining:
    """How well a scale is known, as a number of blind duplicates."""

    done: int  # duplicates that would have made the scale as well known as it is, at most `needed`
    needed: int  # duplicates after which a new taster's scale is known

    @property
    def known(self) -> bool:
        """Return whether no more are needed."""
        return self.done >= self.needed


def joining(scale: TasterScale) -> Joining:
    """Return how far a taster's scale is known."""
    needed = cups_needed()
    done = sum(_is_as_known(scale, cups=cups) for cups in range(1, needed))
    is_known = scale.gain_sd <= KNOWN_GAIN_SD and scale.offset_sd <= KNOWN_OFFSET_SD
    return Joining(done=needed if is_known else done, needed=needed)


@cache
def cups_needed() -> int:
    """Return after how many blind duplicates a scale is expected to be known."""
    cups = 0
    while expected_sds(cups)[0] > KNOWN_GAIN_SD or expected_sds(cups)[1] > KNOWN_OFFSET_SD:
        cups += 1
    return cups


def _is_as_known(scale: TasterScale, *, cups: int) -> bool:
    gain_sd, offset_sd = expected_sds(cups)
    return scale.gain_sd <= gain_sd + ROUNDING and scale.offset_sd <= offset_sd + ROUNDING


@cache
def expected_sds(cups: int) -> tuple[float, float]:
    """Return the sds of gain [1] and offset [points] expected after so many blind duplicates.

    Examples
    --------
    >>> [round(sd, 2) for sd in (*expected_sds(0), *expected_sds(12))]
    [0.15, 0.5, 0.08, 0.34]
    """
    before = TasterScale()
    precision = np.diag([before.gain_sd**-2, before.offset_sd**-2])
    for i in range(cups):
        strength = STRENGTHS[i % len(STRENGTHS)]
        variance = (
            USUAL_SIGMA**2
            + float(session_shift_sd(USUAL_SIGMA)) ** 2
            + (SESSION_GAIN_SD * strength) ** 2
            + OTHERS_SD**2
        )
        precision += np.outer([strength, 1.0], [strength, 1.0]) / variance
    gain_sd, offset_sd = np.sqrt(np.diag(np.linalg.inv(precision))).tolist()
    return gain_sd, offset_sd
