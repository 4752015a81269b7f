"""How far the tasters of a lot may all rate above or below their team, beyond what the posterior allows for.

The posterior knows the shifts of tasters who are not calibrated yet as normal, and the share of the team that has not
tasted. Where few of a team taste a lot often, that is nearly all of the band, and too little of it: the tasters of
published panels differed by more than usual shifts. The band of a curve therefore adds an error of the level. Ratings
cannot tell it, so sessions do not take it away; calibrated tasters have none.

The count of steeps does without it: the finish line is set by the same tasters, on the same level.
"""

from collections.abc import Sequence

import numpy as np

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import TasterScale
from tastings.maths.curve.model_error import with_error
from tastings.maths.curve.scale_effects import is_calibrated, unknown_shift_sd

TIMES_SHIFT = 1.7
"""The error's sd in that of the mean shift of the lot's tasters: our own value, chosen in simulated worlds."""


def level_error_sd(scales: Sequence[TasterScale], *, open_share: float, sigma: float) -> float:
    """Return the sd of the error [points].

    Parameters
    ----------
    scales : Sequence[TasterScale]
        How the taster of each session uses the scale.
    open_share : float
        Variance of the tasters' mean shift, in that of one taster's
        (:func:`tastings.maths.curve.scale_effects.open_share`).
    sigma : float
        Noise of a rating. [points]
    """
    not_calibrated = sum(not is_calibrated(scale) for scale in scales) / len(scales)
    return float(TIMES_SHIFT * unknown_shift_sd(sigma) * not_calibrated * np.sqrt(open_share))


def with_level_error(cups: FloatArray, *, sd: float) -> FloatArray:
    """Return draws of the even-brew cups, float64[n_draws, n_infusions], each with a draw of the error [points].

    It is the same for all cups of a draw, less for weak ones.
    """
    level = np.random.default_rng(1955).standard_normal((len(cups), 1)) * sd  # the same figures each time
    return with_error(cups, level)
